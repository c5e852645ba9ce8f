"""Results and masks on disk: `surfscan.store.results.ResultsStore`."""
