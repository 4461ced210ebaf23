"""The language of the terminal: how it is chosen, argparse's words, answers in it, and that no text was forgotten."""

import argparse
import inspect
import re
import shutil
import subprocess
import sys

import pytest

from coldlash import language
from coldlash.cli import argparse_words, typed
from coldlash.cli.bench_commands import STEPS
from coldlash.cli.main import build_parser, main
from coldlash.cli.which_language import language_of
from coldlash.desk.engines import list_generic
from coldlash.errors import InputError

# --- which one --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("argv", "environ", "tag"),
    [
        (["due"], {}, "en"),
        (["due"], {"LANG": "de_DE.UTF-8"}, "de"),
        # The order of LC_ALL, LC_MESSAGES, LANG; published: POSIX.1-2017, Base Definitions, 8.2.
        (["due"], {"LANG": "de_DE.UTF-8", "LC_MESSAGES": "en_GB.UTF-8"}, "en"),
        (["due"], {"LANG": "en_GB", "LC_MESSAGES": "en_GB", "LC_ALL": "de_AT"}, "de"),
        (["due"], {"LANG": "de_DE.UTF-8", "LC_ALL": "C"}, "en"),
        # Set but empty counts as not set; published: the same place.
        (["due"], {"LANG": "de_DE.UTF-8", "LC_ALL": "", "LC_MESSAGES": ""}, "de"),
        # A language of the computer that isn't here decides all the same, for English.
        (["due"], {"LANG": "de_DE", "LC_ALL": "fr_FR.UTF-8"}, "en"),
        (["due"], {"LANG": "de_DE", "COLDLASH_LANGUAGE": "en"}, "en"),
        (["due"], {"LANG": "en_GB", "COLDLASH_LANGUAGE": "de-CH"}, "de"),
        (["due"], {"LANG": "de_DE", "COLDLASH_LANGUAGE": " "}, "de"),
        (["--language", "de", "due"], {"LANG": "en_GB", "COLDLASH_LANGUAGE": "en"}, "de"),
        (["--language=en", "due"], {"LANG": "de_DE"}, "en"),
        (["--language", "en", "--language", "de", "due"], {}, "de"),
        # What is asked for counts, whatever else is wrong in the environment.
        (["--language", "de", "due"], {"COLDLASH_LANGUAGE": "xx"}, "de"),
        # Behind the command it is an option of the command, which has none of that name.
        (["due", "--language", "de"], {}, "en"),
        (["--version", "--language", "de"], {}, "de"),
        (["--language"], {}, "en"),
    ],
)
def test_the_command_line_comes_before_the_programs_variable_before_the_computers_setting(argv, environ, tag):
    assert language_of(argv, environ) == tag


@pytest.mark.parametrize(
    ("argv", "environ", "says"),
    [
        (
            ["--language", "fr"],
            {},
            r"--language: the language 'fr' is not here; there are en \(English\), de",
        ),
        (["--language="], {}, r"--language: the language '' is not here"),
        ([], {"COLDLASH_LANGUAGE": "fr"}, r"COLDLASH_LANGUAGE: the language 'fr' is not here"),
        (["--language", "fr"], {"LANG": "en-XA"}, r"^⟦--language: the language 'fr' is not here"),
    ],
)
def test_a_language_asked_for_that_is_not_here_is_refused_in_the_language_of_the_computer(
    argv, environ, says
):
    with pytest.raises(InputError, match=says):
        language_of(argv, environ)
    assert language.current() == "en"


def test_a_wrong_tag_ends_with_code_2_and_nothing_on_standard_output(cli, monkeypatch):
    done = cli("--language", "klingon", "engine", "list")
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith("coldlash: --language: the language 'klingon' is not here; there are en")
    monkeypatch.setenv("COLDLASH_LANGUAGE", "klingon")
    done = cli("engine", "list")
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith("coldlash: COLDLASH_LANGUAGE: the language 'klingon' is not here")


def test_a_language_lasts_for_one_command_only(cli):
    assert "⟦" in cli("--language", "en-XA", "engine", "list").out
    assert "⟦" not in cli("engine", "list").out
    assert language.current() == "en"


def test_an_option_without_its_tag_is_a_fault_of_the_command_line(cli):
    done = cli("--language")
    assert done.code == 2
    assert "argument --language: expected one argument" in done.err


def test_behind_the_command_the_option_is_not_known(cli):
    done = cli("engine", "list", "--language", "de")
    assert done.code == 2
    assert "unrecognized arguments: --language de" in done.err


# --- argparse ---------------------------------------------------------------------------------------------------


def test_every_word_of_argparse_is_one_that_this_python_says():
    # Independent: the source of the standard library that runs here.
    source = inspect.getsource(argparse)
    for word in argparse_words.WORDS:
        assert word.encode("unicode_escape").decode() in source, word


def test_argparse_speaks_within_the_block_and_is_as_before_after_it():
    before = argparse._, argparse.ngettext
    with language.using(language.PSEUDO), argparse_words.argparse_speaks():
        assert argparse._("options") == "⟦options~~⟧"
        assert argparse._("dest= is required for options like %r") == "dest= is required for options like %r"
        assert argparse.ngettext("expected %s argument", "expected %s arguments", 2).startswith("⟦expected")
        assert argparse.ngettext("conflicting: %s", "conflicting all: %s", 2) == "conflicting all: %s"
    assert (argparse._, argparse.ngettext) == before
    with pytest.raises(KeyError), argparse_words.argparse_speaks():
        raise KeyError
    assert (argparse._, argparse.ngettext) == before


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["screw", "flat-four", "--from", "0.1"], "⟦the following arguments are required: --to~"),
        (["stops", "flat-four", "--by", "chance"], "⟦invalid choice: 'chance' (choose from "),
        (["stops", "flat-four", "--margin"], "⟦expected one argument~"),
        (["add", "vehicle", "Van", "--digits", "five"], "⟦invalid int value: 'five'~"),
        (["engine", "list", "--loud"], "⟦unrecognized arguments: --loud~"),
        (["odometer", "Van", "--first", "--repaired"], "⟦not allowed with argument --first~"),
        (["engine", "list", "--json=yes"], "⟦ignored explicit argument 'yes'~"),
        (["due", "--on", "May"], "⟦'May' is not a date; write it like 2026-05-31~"),
    ],
)
def test_what_is_wrong_with_a_command_line_is_said_in_the_language(cli, words, says):
    done = cli("--language", "en-XA", *words)
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith("⟦usage: ~~⟧coldlash ")
    assert says in done.err
    assert ": error: " in done.err


def _parsers(parser):
    yield parser
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            for child in action.choices.values():
                yield from _parsers(child)


def test_every_help_text_is_said_in_the_language():
    with language.using(language.PSEUDO), argparse_words.argparse_speaks():
        parsers = list(_parsers(build_parser()))
        assert len(parsers) > 40
        for parser in parsers:
            assert parser.description.strip(".").endswith("⟧"), parser.prog
            for action in parser._actions:
                if isinstance(action, argparse._SubParsersAction):
                    continue
                # Names that are typed stand for themselves: "PART: valve, seat, ...".
                typed_names = action.choices and action.help == ", ".join(action.choices)
                assert typed_names or re.fullmatch(r"⟦.*⟧", action.help), (parser.prog, action.dest)


def test_the_english_help_knows_no_other_language(capsys):
    for parser in _parsers(build_parser()):
        parser.print_help()
    assert "⟦" not in capsys.readouterr().out


def test_help_in_another_language_loads_no_tables_of_languages():
    # Babel is large; only numbers and days need it.
    code = (
        "import sys; from coldlash.cli.main import main\n"
        "try: main(['--language', 'de', '--help'])\n"
        "except SystemExit: print('babel' in sys.modules, 'sqlalchemy' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "False False"


# --- answers ----------------------------------------------------------------------------------------------------


ANSWERS = {
    "y yes": "j ja", "b": "z", "q": "e ende", "h": "h ?", "o": "ü", "n": "n",
    "free": "frei", "stiff": "schwer", "none": "keins nicht", "drag": "saugend",
}  # fmt: skip


class _German:
    """A catalogue as a translator would write it."""

    def pgettext(self, context, text):
        return ANSWERS[text] if "typed" in context or context.startswith("answers") else text

    def gettext(self, text):
        return text

    def ngettext(self, one, many, n):
        return one if n == 1 else many


@pytest.fixture
def german_answers(monkeypatch):
    monkeypatch.setattr(language, "_catalogue", lambda tag: _German())
    with language.using("de"):
        yield


@pytest.mark.usefixtures("german_answers")
def test_answers_are_taken_in_the_language_and_in_english():
    for said in ("j", "J", "ja", " Ja ", "y", "yes", "YES"):
        assert typed.is_yes(said), said
    for said in ("", "n", "nein", "j ja", "ye"):
        assert not typed.is_yes(said), said
    assert all(map(typed.is_back, ("b", "z", "Z")))
    assert all(map(typed.is_leave, ("q", "e", "Ende")))
    assert all(map(typed.is_help, ("h", "?")))
    assert typed.why("Ü", ["rolled over", "replaced"]) == "rolled over"
    assert typed.why("o", ["mistyped", "rolled over"]) == "rolled over"
    assert typed.why("n", ["rolled over"]) is None
    assert typed.why("80", ["rolled over", "replaced"]) is None


@pytest.mark.usefixtures("german_answers")
@pytest.mark.parametrize(
    ("said", "read"),
    [
        ("Saugend 0,15", "drag 0,15"),
        ("drag 0.15", "drag 0.15"),
        ("keins", "none"),
        ("none", "none"),
        ("0,15/0,20", "0,15/0,20"),
        ("?", "?"),
    ],
)
def test_the_words_of_a_reading_are_taken_in_the_language_and_in_english(said, read):
    assert typed.reading(said) == read


@pytest.mark.usefixtures("german_answers")
def test_how_a_pushrod_spins_is_taken_in_the_language_and_in_english():
    assert [typed.spin(said) for said in ("frei", "Stiff", "schwer", "nicht", "none", "schwergängig")] == [
        "free", "stiff", "stiff", "none", "none", None,
    ]  # fmt: skip


def by_step(shown):
    return {(r["valve"], r["step"]): r for r in shown.json["visits"][-1]["readings"]}


@pytest.mark.usefixtures("german_answers")
def test_a_visit_is_led_with_the_words_of_the_language_and_kept_in_those_of_the_book(cli):
    cli("add", "engine", "flat-four", "--name", "Van")
    answers = ["", "?", "z", "h", "saugend 0,15; schwer; Spitze narbig", "j", "0,15/0,20", "0,10/0,15"]
    answers += ["", "keins", "", "", "0,15", "", "0,15", "", "0,15", "", "0,15", "", "0,15", "", "ja"]
    words = ("visit", "guide", "Van", "--meter", "84210,5", "--date", "2026-05-01", "--temp", "15,5")
    cli("add", "vehicle", "Bus")
    assert cli("--language", "de", "fit", "Van", "Bus").code == 0
    done = cli("--language", "de", *words, typed="\n".join(answers) + "\n")
    assert (done.code, "Closed." in done.out) == (0, True), done.out + done.err
    shown = cli("visit", "list", "Van", "--json")
    visit = shown.json["visits"][-1]
    assert (visit["distance_km"], visit["engine_temp_c"], visit["state"]) == (84210.5, 15.5, "closed")
    kept = by_step(shown)
    first = kept["I1", "found"]
    assert (first["go_um"], first["feel"], first["spin"]) == (150, "drag", "stiff")
    assert first["note"] == "Spitze narbig"
    assert kept["I1", "set"]["blade_um"] is not None
    assert kept["I1", "left"]["nogo_um"] == 200
    assert sum(r["go_um"] == 0 for (_, step), r in kept.items() if step == "found") == 1


@pytest.mark.usefixtures("german_answers")
def test_leaving_in_the_words_of_the_language_leaves_the_visit_open(cli):
    cli("add", "engine", "flat-four", "--name", "Van")
    words = ("visit", "guide", "Van", "--distance", "1000", "--temp", "15")
    done = cli("--language", "de", *words, typed="\nende\n")
    assert done.code == 0
    assert done.out.splitlines()[-1].startswith("Left. Everything said is in the book")


# --- no text was forgotten --------------------------------------------------------------------------------------

DATA = re.compile(
    r"""⟦[^⟦⟧]*⟧ | \b[IE]\d+\b | \b(?:km|mm|id)\b
    | --column\ \S+ | [0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}
    """,
    re.VERBOSE,
)


GENERIC = tuple(name for name, _, _ in list_generic())
NOTE = "Camshaft and lifters replaced, both heads off and refitted; all gaps set afresh."
"""A note somebody typed, as the demo has it."""
NAMES = ("Van engine", "demo.coldlash", "Oona", "Tadek", "Mirela", "Generic flat-four", NOTE, *GENERIC)
CODES = STEPS
"""What --step takes: typed as it stands, in every language."""


def forgotten(text, *data):
    """What is left of the lines that have letters outside of ⟦ ⟧ which are no data."""
    for known in sorted(data, key=len, reverse=True):
        text = text.replace(known, "")
    before = None
    while text != before:
        before, text = text, DATA.sub("", text)
    return [line for line in text.splitlines() if re.search(r"[^\W\d_]", line)]


@pytest.fixture
def wide(monkeypatch):
    """A terminal in which nothing is broken into lines."""
    monkeypatch.setenv("COLUMNS", "10000")


@pytest.fixture
def pseudo(cli, wide):
    def run(*arguments, typed=""):
        return cli("--language", "en-XA", *arguments, typed=typed)

    return run


@pytest.fixture(scope="module")
def museum(tmp_path_factory):
    """The demo book, made while another language is spoken."""
    path = tmp_path_factory.mktemp("museum") / "demo.coldlash"
    words = ["--language", "en-XA", "demo", "--until", "2026-11-25", "--json", "--book", str(path)]
    assert main(words) == 0
    return path


@pytest.fixture
def demo(pseudo, museum, tmp_path):
    shutil.copyfile(museum, tmp_path / "demo.coldlash")
    return pseudo


def test_the_guard_finds_a_forgotten_word():
    assert forgotten("⟦Left ⟦0,15 mm~⟧ of E3~⟧ (E3, 12 km)\n⟦a~⟧ and ⟦b~⟧\nVan\n----", "Van") == [" and "]


MAIN = (
    ("due",),
    ("due", "--on", "2027-11-25"),
    ("book", "show"),
    ("book", "check"),
    ("visit", "list", "Van engine"),
    ("visit", "show", "--engine", "Van engine"),
    ("assess", "--engine", "Van engine"),
    ("odometer", "Delivery van"),
    ("fit", "Van engine"),
    ("work", "list", "Van engine"),
    ("unit",),
    ("backup",),
)
ZONES = "head=120,cylinder=110,crankcase=80,intake_valve=150,exhaust_valve=200,lifter=80,pushrod=90"
ALONE = (
    ("engine", "list"),
    ("engine", "show", "flat-four"),
    ("engine", "causes", "flat-four"),
    ("engine", "check", "flat-four"),
    ("stops", "flat-four"),
    ("closed", "flat-four", "--at", "0"),
    ("screw", "flat-four", "--from", "0.1", "--to", "0.15"),
    ("checklist", "flat-four"),
    ("cautions",),
    (
        "heat",
        "flat-four",
        "--zones",
        ZONES,
    ),
    ("cooldown", "--air", "18", "--reading", "0:92", "--reading", "45:61"),
    ("timing", "flat-four", "--gap", "0.15"),
)


@pytest.mark.parametrize("words", MAIN, ids=" ".join)
def test_no_text_about_the_book_was_forgotten(demo, words):
    done = demo(*words, "--book", "demo.coldlash")
    assert done.code == 0
    assert forgotten(done.out + done.err, *NAMES) == []


@pytest.mark.parametrize("words", ALONE, ids=" ".join)
def test_no_text_about_an_engine_was_forgotten(pseudo, words):
    done = pseudo(*words)
    assert done.code == 0
    assert forgotten(done.out + done.err, *NAMES, *(f"{code}:" for code in CODES)) == []


def test_no_text_of_the_walk_was_forgotten(pseudo):
    done = pseudo("demo", "--walk", "--until", "2026-11-25", "--book", "demo.coldlash")
    assert done.code == 0
    assert done.out.count("⟦") > 100
    assert forgotten(done.out + done.err, *NAMES) == []


def test_no_text_of_a_led_visit_was_forgotten(demo):
    answers = [
        "",
        "h",
        "?",
        "b",
        "none",
        "0.15/0.20; stiff",
        "y",
        "0,15",
        "0.15",
        "x",
        "0.15",
        "",
        "b",
        "",
        "q",
    ]
    words = ("visit", "guide", "Van engine", "--turn", "against", "--date", "2026-11-25")
    done = demo(*words, "--book", "demo.coldlash", typed="\n".join(["40000", "15", *answers]) + "\n")
    assert done.code == 0
    assert "⟦Stop 1 of " in done.out
    # What was typed is shown behind its question.
    shown = [line.rpartition("⟧")[0] + "⟧" if "⟧" in line else line for line in done.out.splitlines()]
    assert forgotten("\n".join(shown) + done.err, *NAMES) == []


@pytest.mark.parametrize(
    "words",
    [
        ("stops", "flat-fuor"),
        ("stops", "no-such.toml"),
        ("closed", "flat-four", "--at", "nan"),
        ("heat", "flat-four", "--zones", "pushrod"),
        ("cooldown", "--air", "18", "--reading", "0:92", "--reading", "45:61", "--within", "0"),
        ("due",),
        ("due", "--book", "there/is/none.coldlash"),
        ("assess", "--engine", "Bus", "--book", "demo.coldlash"),
        ("visit", "found", "E9", "0.15", "--engine", "Van engine", "--book", "demo.coldlash"),
        ("add", "vehicle", "Delivery van", "--book", "demo.coldlash"),
        ("add", "vehicle", "Bus", "--digits", "12", "--book", "demo.coldlash"),
        ("odometer", "Delivery van", "3", "--on", "2026-11-25", "--book", "demo.coldlash"),
        ("import", "museum.csv", "--engine", "Van engine", "--book", "demo.coldlash"),
        ("engine", "check", "museum.toml"),
        ("restore", "demo.coldlash", "--to", "demo.coldlash"),
        ("book", "new", "--book", "demo.coldlash"),
        ("salvage", "museum.csv", "--to", "saved.coldlash"),
    ],
    ids=" ".join,
)
def test_no_fault_was_forgotten(demo, tmp_path, words):
    (tmp_path / "museum.csv").write_text("date,distance_km,valve\n2026-05-01,x,E9\n", encoding="utf-8")
    (tmp_path / "museum.toml").write_text("cylinders = 'four'\nnonsense = 1\n", encoding="utf-8")
    done = demo(*words)
    assert done.code == 2
    assert done.err.startswith(("coldlash: ⟦", "⟦usage: "))
    if done.err.startswith("coldlash: "):
        faults = done.err.removeprefix("coldlash: ")
    else:  # below the usage, which is made of what is typed
        faults = done.err[done.err.rindex("⟦coldlash ") :]
    assert forgotten(faults, *NAMES, str(tmp_path)) == []


# --- nothing of it is kept, and scripts read the same -----------------------------------------------------------


def same_but_for_sentences(one, other):
    if isinstance(one, dict):
        assert list(one) == list(other)
        return all(same_but_for_sentences(one[key], other[key]) for key in one)
    if isinstance(one, list):
        return len(one) == len(other) and all(map(same_but_for_sentences, one, other))
    if isinstance(one, str) and isinstance(other, str) and "⟦" in other:
        return True
    return one == other and type(one) is type(other)


JSON = (*MAIN[:-1], ("visit", "list", "Van engine"), ("visit", "show", "--engine", "Tender engine"))


@pytest.mark.parametrize("words", JSON, ids=" ".join)
def test_scripts_read_the_same_keys_numbers_and_codes_in_every_language(cli, demo, words):
    english = cli(*words, "--json", "--book", "demo.coldlash")
    other = demo(*words, "--json", "--book", "demo.coldlash")
    assert (english.code, other.code) == (0, 0)
    assert same_but_for_sentences(english.json, other.json)
    assert "⟦" not in english.out


def test_the_comparison_of_answers_sees_a_number_a_key_and_a_code_that_differ():
    assert same_but_for_sentences({"a": [1.5, "open", "E3 is due"]}, {"a": [1.5, "open", "⟦E3 is due~⟧"]})
    assert not same_but_for_sentences({"a": 1.5}, {"a": 1.25})
    assert not same_but_for_sentences({"a": "open"}, {"a": "offen"})
    assert not same_but_for_sentences([1], [1, 2])
    with pytest.raises(AssertionError):
        same_but_for_sentences({"a": 1}, {"b": 1})


def test_nothing_said_in_another_language_is_kept_in_the_book_or_in_a_log(demo, tmp_path):
    book = ("--book", "demo.coldlash")
    answers = ["", "0,15/0,20; stiff; narbig", "y", "none", "0.15", "0,15", "", "", "q"]
    for words in (
        ("add", "vehicle", "Bus", "--meter", "km", "--digits", "5"),
        ("add", "engine", "flat-twin", "--name", "Twin"),
        ("add", "blades", "Meine", "0.10 0.15 0.20"),
        ("odometer", "Bus", "84210", "--on", "2026-11-25"),
        ("odometer", "Bus", "--replaced", "--on", "2026-11-25"),
        ("fit", "Twin", "Bus", "--on", "2026-11-25"),
        ("work", "add", "seat", "ground", "--engine", "Van engine", "--at", "E3"),
        ("visit", "start", "Twin", "--date", "2026-11-26", "--distance", "12"),
        ("visit", "found", "E1", "0.15", "--engine", "Twin"),
        ("visit", "change", "--engine", "Twin", "--temp", "15"),
        ("visit", "discard", "--engine", "Twin", "--reason", "zu warm"),
        ("unit", "mm", "--distance", "km"),
        ("due",),
        ("assess", "--engine", "Van engine"),
    ):
        done = demo(*words, *book)
        assert done.code == 0, (words, done.err)
    led = demo(
        "visit", "guide", "Van engine", "--meter", "40000", "--temp", "15", *book, typed="\n".join(answers)
    )
    assert led.code == 0
    assert demo("export", "--engine", "Van engine", "--to", "log.csv", *book).code == 0
    for path in (tmp_path / "log.csv", *tmp_path.glob("demo.coldlash*")):
        data = path.read_bytes()
        assert len(data) > 100 or path.suffix.endswith(("-wal", "-shm"))
        for mark in "⟦⟧":
            assert mark.encode() not in data, path
