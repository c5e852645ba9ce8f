"""One name, however it was typed."""

from surfscan.store.reviewers import plain_name


def test_blanks_and_accents_make_no_other_name() -> None:
    assert plain_name("  Zoe\u0308 \t Example\n") == plain_name("Zo\u00eb Example") == "Zo\u00eb Example"
    assert plain_name("Zoe Example") != plain_name("Zo\u00eb Example")
