"""Three keys of job.toml get new figures, and every other byte stays as it was."""

import random
import re
import tomllib

import pytest

from fitmatch.intake.writing.rewriting import KEYS, CannotRewrite, lines_to_add, with_seatings

S, U, N = "-0.000125", "0.00003", "4"
IN_BRACES = f"seating = {S}, seating_u = {U}, seating_readings = {N}"
THREE = f"seating = {S}\nseating_u = {U}\nseating_readings = {N}\n"

# Name: a job.toml, and the same with the figures of rod written in by hand.
ZOO = {
    "plain": ('unit = "in"\n\n[fit.rod]\nmin = 0.001\n', f'unit = "in"\n\n[fit.rod]\nmin = 0.001\n{THREE}'),
    "another table behind, with remarks between": (
        "[fit.rod]\nmin = 0.001 # makers'\n\n# mains\n[fit.main]\nmax = 0.003\n",
        f"[fit.rod]\nmin = 0.001 # makers'\n{THREE}\n# mains\n[fit.main]\nmax = 0.003\n",
    ),
    "no line end at the end": ("[fit.rod]\nmin = 1", f"[fit.rod]\nmin = 1\n{THREE.removesuffix(chr(10))}"),
    "carriage returns": (
        "[fit.rod]\r\nmin = 1\r\n\r\n[rules]\r\n",
        f"[fit.rod]\r\nmin = 1\r\nseating = {S}\r\nseating_u = {U}\r\nseating_readings = {N}\r\n\r\n[rules]\r\n",
    ),
    "byte order mark": ("\ufeff[fit.rod]\nmin = 1\n", f"\ufeff[fit.rod]\nmin = 1\n{THREE}"),
    "indented by a tab": (
        "[fit.rod]\n\tmin = 1\n",
        f"[fit.rod]\n\tmin = 1\n\tseating = {S}\n\tseating_u = {U}\n\tseating_readings = {N}\n",
    ),
    "both there, in another order, with remarks": (
        "[fit.rod]\nseating_u = 1e-4  # u\nmin = 1\n  seating   =   0.0004# old\n",
        f"[fit.rod]\nseating_u = {U}  # u\nmin = 1\n  seating   =   {S}# old\n  seating_readings = {N}\n",
    ),
    "one there, as a text with its own unit": (
        '[fit.rod]\nseating = "0.4 tenths" # "x"\nmin = 1\n',
        f'[fit.rod]\nseating = {S} # "x"\nseating_u = {U}\nseating_readings = {N}\nmin = 1\n',
    ),
    "the other one there, a literal text": (
        "[fit.rod]\nseating_u = '1 um'\nmax = 2\n",
        f"[fit.rod]\nseating_u = {U}\nseating = {S}\nseating_readings = {N}\nmax = 2\n",
    ),
    "quoted keys and header": (
        '[ fit . "rod" ]  # [fit.main]\n"min" = 1\n\'seating\' = 0\n',
        f'[ fit . "rod" ]  # [fit.main]\n"min" = 1\n\'seating\' = {S}\nseating_u = {U}\nseating_readings = {N}\n',
    ),
    "dotted keys at the top": (
        'fit.rod.min = 1\nfit.rod.max = 2 # here\nfit.main.max = 3\nunit = "in"\n',
        f"fit.rod.min = 1\nfit.rod.max = 2 # here\nfit.rod.seating = {S}\nfit.rod.seating_u = {U}\n"
        f"fit.rod.seating_readings = {N}\n"
        'fit.main.max = 3\nunit = "in"\n',
    ),
    "dotted keys under a header": (
        '[fit]\n  "rod" . min = 1\nmain.min = 2\n',
        f'[fit]\n  "rod" . min = 1\n  "rod" . seating = {S}\n  "rod" . seating_u = {U}\n'
        f'  "rod" . seating_readings = {N}\nmain.min = 2\n',
    ),
    "braces": (
        "[fit]\nrod = { min = 1, max = 2 } # ok\nmain = {min=3}\n",
        f"[fit]\nrod = {{ min = 1, max = 2, {IN_BRACES} }} # ok\nmain = {{min=3}}\n",
    ),
    "braces in braces, one key there": (
        'fit = {rod = {seating=0, family = ["}", "a"]}, main = {min = 1}}\n',
        f'fit = {{rod = {{seating={S}, seating_u = {U}, seating_readings = {N}, family = ["}}", "a"]}}, '
        "main = {min = 1}}\n",
    ),
    "dotted keys in braces": (
        "fit = { rod.min = 1, main.min = 2 }\n",
        f"fit = {{ rod.min = 1, rod.seating = {S}, rod.seating_u = {U}, rod.seating_readings = {N}, main.min = 2 }}\n",
    ),
    "empty braces": (
        "[fit]\nrod = {}\n",
        f"[fit]\nrod = {{ {IN_BRACES} }}\n",
    ),
    "an empty table": ("[fit.rod]\n# min = 1\n\n[rules]\n", f"[fit.rod]\n{THREE}# min = 1\n\n[rules]\n"),
    "texts and lists over lines that look like tables": (
        'title = """\n[fit.rod]\nseating = 1 \\""" # no\n"""\n[fit.rod]\nfamily = [ # ]\n  "[x]", # a\n  \'#\'\n]\n'
        "[a]\nb = 1\n",
        'title = """\n[fit.rod]\nseating = 1 \\""" # no\n"""\n[fit.rod]\nfamily = [ # ]\n  "[x]", # a\n  \'#\'\n]\n'
        f"{THREE}[a]\nb = 1\n",
    ),
    "keys of the same names elsewhere": (
        "[fit.main]\nseating = 0.1\n[fit.rod]\nmin = 1\n[other.rod]\nseating = 5\n[[fits]]\nseating = 6\n",
        f"[fit.main]\nseating = 0.1\n[fit.rod]\nmin = 1\n{THREE}[other.rod]\nseating = 5\n[[fits]]\nseating = 6\n",
    ),
}


@pytest.mark.parametrize("name", ZOO)
def test_only_the_three_figures_change(name: str) -> None:
    """Layout by layout the new text is, byte for byte, what was worked out by hand."""
    old, new = ZOO[name]
    assert with_seatings(old, {"rod": (S, U, N)}) == new


@pytest.mark.parametrize("name", ZOO)
def test_writing_twice_changes_nothing(name: str) -> None:
    """Writing the same figures into what was written gives the same text."""
    once = with_seatings(ZOO[name][0], {"rod": (S, U, N)})
    assert with_seatings(once, {"rod": (S, U, N)}) == once


@pytest.mark.parametrize("name", ZOO)
def test_what_toml_reads_differs_in_the_three_keys_alone(name: str) -> None:
    """A parser of TOML reads the three figures, and all else as before."""
    old, new = (
        tomllib.loads(text.lstrip("\ufeff")) for text in (ZOO[name][0], with_seatings(ZOO[name][0], {"rod": (S, U, N)}))
    )
    assert new["fit"]["rod"].pop("seating") == float(S) and new["fit"]["rod"].pop("seating_u") == float(U)
    assert new["fit"]["rod"].pop("seating_readings") == int(N)
    for key in ("seating", "seating_u", "seating_readings"):
        old["fit"]["rod"].pop(key, None)
    assert new == old


def test_two_kinds_at_once() -> None:
    """Each kind gets its own figures."""
    text = with_seatings("[fit.rod]\nmin = 1\n[fit.main]\nmin = 2\n", {"rod": ("1", "2", "3"), "main": ("4", "5", "6")})
    assert text == (
        "[fit.rod]\nmin = 1\nseating = 1\nseating_u = 2\nseating_readings = 3\n"
        "[fit.main]\nmin = 2\nseating = 4\nseating_u = 5\nseating_readings = 6\n"
    )


@pytest.mark.parametrize(
    "text", ["[fit.main]\nmin = 1\n", "[[fit.rod]]\nmin = 1\n", '[fit]\n[fit.main]\nx = "[fit.rod]"\n']
)
def test_a_layout_without_a_place_is_refused(text: str) -> None:
    """Where the kind has no table of its own nothing is written."""
    with pytest.raises(CannotRewrite):
        with_seatings(text, {"rod": (S, U, N)})


def test_the_lines_to_add_are_told() -> None:
    """What is to be written by hand names keys, figures and table, quoted where TOML wants it."""
    assert lines_to_add("big end", (S, U, N)) == (
        f'write `seating = {S}`, `seating_u = {U}` and `seating_readings = {N}` into [fit."big end"]'
    )


VALUES = (
    "1",
    '"a # [b]"',
    "'x'",
    '[ "a",\n  # c ]\n "b" ]',
    '"""m\n[fit.rod]\nseating=3\n"""',
    '{ a = "}", b=[1,{c=2}] }',
)


def random_layout(draw: random.Random) -> str:
    """A valid job.toml; an old figure of seating is `@1@`, one of seating_u `@2@`, one of
    seating_readings as `@3@`, all after a bare `=`."""

    def pair(key: str, prefix: str = "", values: tuple[str, ...] = VALUES) -> str:
        figure = {"seating": "@1@", "seating_u": "@2@", "seating_readings": "@3@"}.get(key)
        name = draw.choice([key, f'"{key}"', f"'{key}'"])
        return (
            f"{prefix}{name}={figure}" if figure else f"{prefix}{name}{draw.choice(['=', ' = '])}{draw.choice(values)}"
        )

    def line(key: str, prefix: str = "") -> str:
        return draw.choice(["", "  ", "\t"]) + pair(key, prefix) + draw.choice(["", "  # note", "\t#x = { ["])

    keys = ["min", *(k for k in ("max", "family", "seating", "seating_u", "seating_readings") if draw.random() < 0.5)]
    draw.shuffle(keys)
    lines = [line("title"), ""] if draw.random() < 0.5 else []
    style = draw.choice(["header", "dotted", "dotted under a header", "braces", "braces in braces"])
    if style == "header":
        lines.append(draw.choice(["[fit.rod]", "[ fit . 'rod' ] # x"]))
        lines += [text for key in keys for text in (line(key), *draw.choice([(), ("",), ("# c",)]))]
    elif style == "dotted":
        lines += [line(key, draw.choice(["fit.rod.", "fit . rod . ", "\"fit\".'rod'."])) for key in keys]
    elif style == "dotted under a header":
        lines += ["[fit]", *(line(key, "rod.") for key in keys), line("min", "main.")]
    else:
        inner = ", ".join(pair(key, values=("1", '"}"', '[1,"]"]', "{q=1}")) for key in keys)
        lines += (
            ["[fit]", f"rod = {{{inner}}} # }}"]
            if style == "braces"
            else [f"fit = {{ rod = {{ {inner} }}, main={{}} }}"]
        )
    if draw.random() < 0.5:
        lines += ["", "[rules]", line("a")]
    text = "\n".join(lines) + draw.choice(["", "\n"])
    return text.replace("\n", draw.choice(["\n", "\r\n"]))


def test_random_layouts_keep_every_other_byte() -> None:
    """In 1500 layouts old figures are replaced in place, and with what was added cut out again the rest is, byte for
    byte, the old text."""
    draw = random.Random(7)
    added = re.compile(rf"(?:(?:\r?\n)[^\n=]*|, )seating(?:_u|_readings)? = (?:{re.escape(S)}|{re.escape(U)}|{N})")
    for _ in range(1_500):
        layout = random_layout(draw)
        old = (
            layout.replace("@1@", draw.choice(["0.1", '"1 um"', "-3e-3"]))
            .replace("@2@", "'2 thou'")
            .replace("@3@", "7")
        )
        tomllib.loads(old)
        new = with_seatings(old, {"rod": (S, U, N)})
        assert added.sub("", new) == layout.replace("@1@", S).replace("@2@", U).replace("@3@", N), old
        found = tomllib.loads(new)["fit"]["rod"]
        assert [float(found[key]) for key in KEYS] == [float(S), float(U), float(N)]
