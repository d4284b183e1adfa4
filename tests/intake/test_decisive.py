"""The part of job.toml that a plan depends on: what goes into the digest."""

import pytest

from fitmatch.intake.job_toml.key_rows import decisive

HEAD = 'unit = "in"\n[fit.rod]\nmin = 0.001\nmax = 0.003\n'
RULES = '\n[rules]\nmatch = ["finish"]  # film is no word here\n'
FILM = "[film.rod]\nwidth = 0.75\n# rig test\nspeed = 1800\n"


@pytest.mark.parametrize(
    ("with_film", "without"),
    [
        (HEAD + FILM, HEAD),
        (HEAD + "\n" + FILM, HEAD),
        (HEAD + "\n\n# how they run\n" + FILM, HEAD),
        (HEAD + "\n" + FILM + RULES, HEAD + RULES),
        (HEAD + "\n" + FILM + "\n[film.main]\nload = 1\n" + RULES, HEAD + RULES),
        ("film.rod.load = 3\n" + HEAD, HEAD),
        (HEAD + "[film]\nrod = { load = 3 }\n", HEAD),
        (HEAD + "\n[limits]\npolish_max = 0.0002\n" + RULES, HEAD + RULES),
        (HEAD + "\n[boxes]\nbudget = 3\n[boxes.step.std]\nprice = 4\n" + RULES, HEAD + RULES),
        (HEAD.replace("\n", "\r\n") + "\r\n" + FILM.replace("\n", "\r\n"), HEAD.replace("\n", "\r\n")),
    ],
)
def test_films_do_not_decide(with_film: str, without: str) -> None:
    """Whatever is written about films or what advice may propose, and the comment right above it, leaves the rest byte
    for byte as it was."""
    assert decisive(with_film.encode()) == without.encode()


@pytest.mark.parametrize(
    "data", [HEAD + RULES, HEAD + "# film\n", "[fit.film]\nmin = 1\n", 'title = "film"\n', "x = [\n  1,\n]\n"]
)
def test_what_is_not_about_films_stays(data: str) -> None:
    """A file without such a table is its own decisive part, whatever words it holds."""
    assert decisive(data.encode()) == data.encode()


def test_bytes_that_are_no_text_stay() -> None:
    """What cannot be read as text is reported elsewhere and kept as it is."""
    assert decisive(b"\xff\xfefilm") == b"\xff\xfefilm"
