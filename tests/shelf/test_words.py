"""Every reason that the shelf can give has a sentence."""

import re
from pathlib import Path

import fitmatch
from fitmatch.report.shelf.words import _SAID


def test_every_reason_has_a_sentence_and_none_is_left_over() -> None:
    """The codes in the modules of the shelf are those that `words` knows."""
    texts = [path.read_text() for path in (Path(fitmatch.__file__).parent / "shelf").rglob("*.py")]
    named = {code for text in texts for code in re.findall(r'Fact\(\s*"([a-z-]+)"', text)}
    either = {"ambiguous", "reads-otherwise", "ambiguous-box", "unknown-box"}  # chosen between where they are made
    either |= {"not-measured-again", "slipped", "grew", "worn-through"}
    from fitmatch.shelf.store import faults

    of_drivers = {*faults._SQLITE.values(), *faults._STATES.values(), "no-connection"}
    assert named | either | of_drivers == set(_SAID)
