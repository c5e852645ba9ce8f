"""A whole study set side by side."""


def test_everything_is_compared(sides):
    found = sides.found()
    assert [s.specimen for s in found.specimens] == [s.specimen.id for s in sides.summaries]
    assert found.of("L1").specimen == "L1"
    assert found.with_rate and found.over_time and found.compared and found.budgets
    assert found.judged == [] and found.nested == []


def test_one_specimen_alone(empty_sides):
    """Nothing to compare with is no fault."""
    empty_sides.specimen("L1", "bare 14 d")
    empty_sides.weigh("L1", 0.9)
    found = empty_sides.found()
    assert [rate.method for rate in found.of("L1").known] == ["mass loss"]
    assert found.with_rate == found.over_time == found.compared == []
