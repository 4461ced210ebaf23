"""The contract's engine file is read exactly; every fault is named with its line; nothing else ever escapes."""

from __future__ import annotations

import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from coldlash.engine.catalogue import generic_names, generic_text
from coldlash.engine.reader import read_engine
from coldlash.engine.spec import (
    Engine,
    GapSpec,
    Geometry,
    Linkage,
    LobeSpec,
    Pulley,
    Service,
    StackPart,
    Valve,
    ValveEvents,
)
from coldlash.errors import FaultyFileError, InputError

# The engine file of the project's contract, word for word (comments shortened).
CONTRACT = """\
name = "Launch engine"
cylinders = 4
firing_order = [1, 4, 3, 2]
firing_gaps_deg = [180, 180, 180, 180]    # optional
turns = "clockwise"                       # seen facing the pulley
heads = [[1, 2], [3, 4]]
shared_lobes = [["I1", "I3"], ["E1", "E3"], ["I2", "I4"], ["E2", "E4"]]
[valve_events_deg]
intake_opens_btdc = 10
intake_closes_abdc = 40
exhaust_opens_bbdc = 45
exhaust_closes_atdc = 8
[gap_mm.intake]
cold = 0.15
tight = 0.05
loose = 0.30
[gap_mm.exhaust]
cold = 0.15
tight = 0.05
loose = 0.30
[linkage]
rocker_ratio = 1.1
screw_side = "valve"                      # or "pushrod"
screw_pitch_mm = 1.0
[pulley]
diameter_mm = 175
marks_deg = [0]
[[stack]]
part = "pushrod"
length_mm = 230
material = "6061"                         # or expansion_per_k = 23.6e-6
zone = "pushrod"
heights = ["pushrod"]
[geometry]
"""

TOP = "[valve_events_deg]"
"""Where a test may put one more key at the top of the file."""


def with_line(old: str, new: str, text: str = CONTRACT) -> str:
    """The contract's file with one piece changed."""
    assert text.count(old) == 1, f"{old!r} must stand once in the text"
    return text.replace(old, new)


def with_top(line: str) -> str:
    """The contract's file with one more line at the top."""
    return with_line(TOP, f"{line}\n{TOP}")


def with_end(*lines: str) -> str:
    """The contract's file with lines added at its end, under [geometry]."""
    return CONTRACT + "\n".join(lines) + "\n"


def faults_of(text: str, read_table=None) -> list[tuple[int, str]]:
    """Line and message of every fault; the file must be refused."""
    with pytest.raises(FaultyFileError) as refused:
        read_engine(text, "my.toml", read_table)
    return [(fault.line, fault.message) for fault in refused.value.faults]


def only_fault(text: str, read_table=None) -> tuple[int, str]:
    """The one fault of a file."""
    faults = faults_of(text, read_table)
    assert len(faults) == 1, faults
    return faults[0]


def line_of(text: str, piece: str) -> int:
    """The line in which a piece of text first stands."""
    return text[: text.index(piece)].count("\n") + 1


def test_the_contracts_example_is_read_exactly():
    both = GapSpec(0.15, 0.05, 0.30)
    pair = [Valve.parse(v) for v in ("I1", "I3", "E1", "E3", "I2", "I4", "E2", "E4")]
    assert read_engine(CONTRACT, "x") == Engine(
        name="Launch engine",
        cylinders=4,
        firing_order=(1, 4, 3, 2),
        firing_gaps_deg=(180.0, 180.0, 180.0, 180.0),
        turns="clockwise",
        heads=((1, 2), (3, 4)),
        shared_lobes=((pair[0], pair[1]), (pair[2], pair[3]), (pair[4], pair[5]), (pair[6], pair[7])),
        events=ValveEvents(10.0, 40.0, 45.0, 8.0, 0.0),
        gaps={"I": both, "E": both},
        linkage=Linkage(1.1, "valve", 1.0, "pushrod"),
        pulley=Pulley(175.0, (0.0,)),
        stack=(StackPart("pushrod", 230.0, "pushrod", ("pushrod",), "6061", None),),
        geometry=Geometry(),
        rows=(),
        lobes={},
        service=Service(),
        layout=None,
    )


def test_everything_optional_of_the_contract_is_read():
    text = with_top('rows = [["E2", "I2", "I1", "E1"], ["E4", "I4", "I3", "E3"]]\nlayout = "flat"')
    text = text.replace("exhaust_closes_atdc = 8", "exhaust_closes_atdc = 8\nchecking_lift_mm = 0.1")
    text = text.replace('material = "6061" ', "expansion_per_k = 23.6e-6 ")
    text += (
        "bore_mm = 85.5\nstroke_mm = 69\nrod_mm = 137\ncompression_ratio = 7\n"
        "[lobe.intake]\npeak_lift_mm = 8.5\nramp_mm = 0.25\nramp_deg = 12\n[lobe.exhaust]\ntable = 'e.csv'\n"
        '[service]\nevery_km = 5000\nevery_months = 12\nfirst_km = 500\nmeter = "h"\nkm_per_h = 40\n'
    )
    table = "\n".join(f"{10 * i},{0.5 * i}" for i in range(8))
    engine = read_engine(text, "x", {"e.csv": table}.__getitem__)
    assert [" ".join(map(str, row)) for row in engine.rows] == ["E2 I2 I1 E1", "E4 I4 I3 E3"]
    assert engine.layout == "flat"
    assert engine.events.checking_lift_mm == 0.1
    assert engine.stack[0].expansion_per_k == 23.6e-6
    assert engine.stack[0].material is None
    assert engine.geometry == Geometry(85.5, 69.0, 137.0, 7.0)
    assert engine.lobes["I"] == LobeSpec(8.5, 0.25, 12.0)
    assert engine.lobes["E"] == LobeSpec(
        table_name="e.csv", table=tuple((10.0 * i, 0.5 * i) for i in range(8))
    )
    assert engine.service == Service(5000.0, 12.0, 500.0, "h", 40.0)


def test_what_may_be_absent_gets_its_default():
    # Required by the contract: name, cylinders, firing_order, turns, heads, valve_events_deg, gap_mm.*.cold, linkage.
    engine = read_engine(
        'name="x"\ncylinders=3\nfiring_order=[1,3,2]\nturns="counterclockwise"\nheads=[[1,2,3]]\n'
        ""
        "valve_events_deg={intake_opens_btdc=10,intake_closes_abdc=40,exhaust_opens_bbdc=45,exhaust_closes_atdc=8}\n"
        "gap_mm.intake.cold=0\ngap_mm.exhaust.cold=0.2\nlinkage.rocker_ratio=1\n",
        "x",
    )
    assert engine.firing_gaps_deg == (240.0, 240.0, 240.0)
    assert engine.gaps == {"I": GapSpec(0.0), "E": GapSpec(0.2)}
    assert engine.linkage == Linkage(1.0, "valve", None, "pushrod")
    assert engine.pulley == Pulley()
    assert (engine.stack, engine.rows, engine.shared_lobes, engine.lobes) == ((), (), (), {})


@pytest.mark.parametrize(
    ("line", "key"),
    [
        ('name = "Launch engine"\n', "name"),
        ("cylinders = 4\n", "cylinders"),
        ("firing_order = [1, 4, 3, 2]\n", "firing_order"),
        ('turns = "clockwise"', "turns"),
        ("heads = [[1, 2], [3, 4]]\n", "heads"),
        ("intake_closes_abdc = 40\n", "valve_events_deg.intake_closes_abdc"),
        ("exhaust_opens_bbdc = 45\n", "valve_events_deg.exhaust_opens_bbdc"),
        ("rocker_ratio = 1.1\n", "linkage.rocker_ratio"),
        ('part = "pushrod"\n', "stack 1.part"),
        ("length_mm = 230\n", "stack 1.length_mm"),
        ('zone = "pushrod"\n', "stack 1.zone"),
        ('heights = ["pushrod"]\n', "stack 1.heights"),
        ('material = "6061"', "stack 1.material"),
    ],
)
def test_a_missing_required_key_is_named(line, key):
    faults = faults_of(with_line(line, ""))
    assert any(message.startswith(f"{key} is missing; it needs ") for _, message in faults), faults


def test_missing_tables_are_named_with_what_they_hold():
    text = CONTRACT[: CONTRACT.index("[valve_events_deg]")]
    assert [m for _, m in faults_of(text)] == [
        "valve_events_deg is missing; it needs the valve timing",
        "gap_mm is missing; it needs the gaps of intake and exhaust",
        "linkage is missing; it needs the valve train",
    ]
    text = CONTRACT.replace("[gap_mm.exhaust]\ncold = 0.15\ntight = 0.05\nloose = 0.30\n", "")
    assert only_fault(text)[1] == "gap_mm.exhaust is missing; it needs the gap"


# (what is changed, to what, what is said about it)
WRONG = [
    # wrong types
    ('name = "Launch engine"', "name = 5", "name is the number 5; it needs the engine's name, in quotes"),
    ('name = "Launch engine"', 'name = "  "', "name is empty; it needs the engine's name"),
    ('name = "Launch engine"', f'name = "{"x" * 81}"', "name has 81 characters; at most 80 fit: shorten it"),
    (
        'name = "Launch engine"',
        'name = "a\\nb"',
        "name holds a line break or a control character; use one line",
    ),
    (
        "cylinders = 4",
        "cylinders = 4.0",
        "cylinders is the number 4.0; it needs the number of cylinders, a whole",
    ),
    (
        "cylinders = 4",
        'cylinders = "4"',
        'cylinders is the text "4"; it needs the number of cylinders, '
        "a whole number; write it without quotes: 4",
    ),
    ("cylinders = 4", "cylinders = true", "cylinders is true, a yes-or-no value"),
    (
        "rocker_ratio = 1.1",
        "rocker_ratio = true",
        "linkage.rocker_ratio is true, a yes-or-no value; it needs movement",
    ),
    ("rocker_ratio = 1.1", "rocker_ratio = '1,1'", "write it without quotes and with a point: 1.1"),
    ("diameter_mm = 175", "diameter_mm = '175 mm'", "write the bare number without quotes: 175"),
    (
        "diameter_mm = 175",
        "diameter_mm = 'about 7'",
        'pulley.diameter_mm is the text "about 7"; it needs the pulley\'s diameter in mm',
    ),
    ("diameter_mm = 175", "diameter_mm = 1979-05-27", "pulley.diameter_mm is the date or time 1979-05-27"),
    (
        "diameter_mm = 175",
        "diameter_mm = [175]",
        "pulley.diameter_mm is a list; it needs the pulley's diameter in mm",
    ),
    ("diameter_mm = 175", "diameter_mm = nan", "pulley.diameter_mm is nan, which is no size"),
    ("diameter_mm = 175", "diameter_mm = inf", "pulley.diameter_mm is inf, which is no size"),
    ("diameter_mm = 175", "diameter_mm = -inf", "pulley.diameter_mm is -inf, which is no size"),
    ("diameter_mm = 175", f"diameter_mm = 1{'0' * 400}", "pulley.diameter_mm is inf, which is no size"),
    (
        "firing_order = [1, 4, 3, 2]",
        "firing_order = 1432",
        "firing_order is the number 1432; it needs the cylinders as they fire, like [1, 4, 3, 2], in [ ]",
    ),
    (
        "heads = [[1, 2], [3, 4]]",
        "heads = {a = 1}",
        "heads is a table; it needs the cylinders under each head",
    ),
    (
        "heads = [[1, 2], [3, 4]]",
        "heads = [[1, 2, 3, 4], []]",
        "heads 2 is empty; leave it out or name its cylinders",
    ),
    (
        'turns = "clockwise"',
        "turns = 1",
        'turns is the number 1; it needs one of "clockwise", "counterclockwise"',
    ),
    # words
    ('turns = "clockwise"', 'turns = "anticlockwise"', 'did you mean "counterclockwise"?'),
    ('turns = "clockwise"', 'turns = "anti-clockwise"', 'did you mean "counterclockwise"?'),
    (
        'turns = "clockwise"',
        'turns = "Clockwise"',
        'turns is "Clockwise"; it needs one of "clockwise", "counterclockwise"; did you mean "clockwise"?',
    ),
    ('turns = "clockwise"', 'turns = "up"', 'turns is "up"; it needs one of "clockwise", "counterclockwise"'),
    (
        'screw_side = "valve"',
        'screw_side = "cam"',
        'linkage.screw_side is "cam"; it needs one of "valve", "pushrod"; did you mean "pushrod"?',
    ),
    # firing order and gaps
    (
        "firing_order = [1, 4, 3, 2]",
        "firing_order = [1, 4, 3, 3]",
        "firing_order needs each cylinder 1 to 4 once; 2 is missing and 3 stands more than once",
    ),
    (
        "firing_order = [1, 4, 3, 2]",
        "firing_order = [1, 4]",
        "firing_order needs each cylinder 1 to 4 once; 2, 3 are missing",
    ),
    ("firing_order = [1, 4, 3, 2]", "firing_order = [1, 4, 3, 2, 2, 3]", "2, 3 stand more than once"),
    (
        "firing_order = [1, 4, 3, 2]",
        "firing_order = [1, 4, 3, 5]",
        "firing_order 4 is 5; it needs a cylinder number, 1 to 4",
    ),
    (
        "firing_order = [1, 4, 3, 2]",
        "firing_order = [1, 4, 3, 0]",
        "firing_order 4 is 0; it needs a cylinder number, 1 to 4",
    ),
    (
        "[180, 180, 180, 180]",
        "[180, 180, 180]",
        "firing_gaps_deg has 3 figures for 4 cylinders; it needs one for each firing",
    ),
    (
        "[180, 180, 180, 180]",
        "[180, 180, 180, 90]",
        "firing_gaps_deg sums to 630; all gaps together are two crank turns, 720",
    ),
    ("[180, 180, 180, 180]", "[90, 90, 90, 90]", "is each half of what it should be (camshaft degrees)?"),
    (
        "[180, 180, 180, 180]",
        "[180, 180, 540, -180]",
        "firing_gaps_deg 4 is -180; it needs crank degrees to the next firing, 0 to 720",
    ),
    # heads
    (
        "heads = [[1, 2], [3, 4]]",
        "heads = [[1, 2], [3]]",
        "heads needs each cylinder 1 to 4 under one head; 4 is missing",
    ),
    (
        "heads = [[1, 2], [3, 4]]",
        "heads = [[1, 2], [2, 3, 4]]",
        "heads needs each cylinder 1 to 4 under one head; 2 stands more than once",
    ),
    (
        "heads = [[1, 2], [3, 4]]",
        "heads = [[1, 2], [3, 4, 9]]",
        "heads 2, item 3 is 9; it needs a cylinder number, 1 to 4",
    ),
    # shared lobes
    (
        '["I2", "I4"], ["E2", "E4"]]',
        '["I2", "E4"]]',
        "I2 and E4 can't share a lobe: one is intake, the other exhaust",
    ),
    ('["E2", "E4"]]', '["E2", "E3"]]', "E3 already shares a lobe; a valve stands in one pair only"),
    ('["E2", "E4"]]', '["E2", "E2"]]', "E2 can't share a lobe with itself; name two valves"),
    ('["E2", "E4"]]', '["E2"]]', "shared_lobes 4 has 1 valves; a lobe is shared by two"),
    (
        '["E2", "E4"]]',
        '["E2", "E5"]]',
        "shared_lobes 4, item 2: this engine has no valve E5; its cylinders are 1 to 4",
    ),
    (
        '["E2", "E4"]]',
        '["E2", "A4"]]',
        'shared_lobes 4, item 2 is "A4", no valve; write I or E and the cylinder, like I1 or E3',
    ),
    (
        '["E2", "E4"]]',
        '["E2", 4]]',
        'shared_lobes 4, item 2 is the number 4; it needs a valve in quotes, like "I1" or "E3"',
    ),
    (
        '["E2", "E4"]]',
        '"E2+E4"]',
        'shared_lobes holds the text "E2+E4"; it needs pairs of valves that one lobe lifts',
    ),
    # events
    (
        "exhaust_opens_bbdc = 45",
        "exhaust_opens_bbdc = 250",
        "valve_events_deg.exhaust_opens_bbdc is 250; it needs crank degrees BBDC, -180 to 180",
    ),
    # linkage
    (
        "rocker_ratio = 1.1",
        "rocker_ratio = 11",
        "linkage.rocker_ratio is 11; it needs movement at the valve / movement at the cam side, 0.2 to 5",
    ),
    ("rocker_ratio = 1.1", "rocker_ratio = -1.1", "linkage.rocker_ratio is -1.1"),
    (
        "screw_pitch_mm = 1.0",
        "screw_pitch_mm = 24",
        "if these are threads per inch, the pitch is 25.4 / 24 = 1.05833 mm",
    ),
    ("screw_pitch_mm = 1.0", "screw_pitch_mm = 0.04", "if these are inches, 0.04 in is 1.016 mm"),
    (
        "screw_pitch_mm = 1.0",
        "screw_pitch_mm = 5",
        "linkage.screw_pitch_mm is 5; it needs the pitch of the screw in mm, 0.15 to 3",
    ),
    # pulley
    ("diameter_mm = 175", "diameter_mm = 17.5", "if these are centimetres, write 175; if inches, 444.5"),
    (
        "diameter_mm = 175",
        "diameter_mm = -175",
        "pulley.diameter_mm is -175; it needs the pulley's diameter in mm, 20 to 1000",
    ),
    (
        "marks_deg = [0]",
        "marks_deg = [0, -10]",
        "pulley.marks_deg 2 is -10; it needs crank degrees past firing TDC 1, 0 "
        "and above, less than 720: 10 before TDC is written 350",
    ),
    ("marks_deg = [0]", "marks_deg = [720]", "a mark at 720 is the one at 0; write 0"),
    ("marks_deg = [0]", "marks_deg = [725]", "pulley.marks_deg 1 is 725"),
    (
        "marks_deg = [0]",
        "marks_deg = [10, 370]",
        "mark 370 is on the pulley already: a mark at 10 shows again at 370; name it once",
    ),
    (
        "marks_deg = [0]",
        "marks_deg = 0",
        "pulley.marks_deg is the number 0; it needs crank degrees past firing TDC 1, like [0, 180], in [ ]",
    ),
    # stack
    (
        "length_mm = 230",
        "length_mm = 0",
        "stack 1.length_mm is 0; give the length in mm or leave the part out",
    ),
    ("length_mm = 230", "length_mm = 23000", "stack 1.length_mm is 23000; it needs its length in mm"),
    (
        'material = "6061"',
        'material = "6062"',
        "stack 1: material '6062' is not in the table; nearest is 6061",
    ),
    (
        'material = "6061"',
        "material = 6061",
        "stack 1.material is the number 6061; it needs a material of the table, like 6061, in quotes",
    ),
    (
        'material = "6061"',
        "expansion_per_k = 23.6",
        "stack 1.expansion_per_k is 23.6; it needs expansion per K, like "
        "23.6e-6: if these are millionths per K, write 23.6e-6",
    ),
    (
        'material = "6061"',
        "expansion_per_k = -1e-6",
        "stack 1.expansion_per_k is -1e-06; it needs expansion per K, like 23.6e-6, 0 to 0.0001",
    ),
    (
        'zone = "pushrod"',
        'zone = "Push rod"',
        'stack 1.zone is "Push rod"; write it in small letters a-z, figures and _, like head',
    ),
    ('heights = ["pushrod"]', "heights = []", "stack 1.heights is empty; it needs the heights it is part of"),
    (
        'heights = ["pushrod"]',
        'heights = ["valve"]',
        'stack 1.heights holds the text "valve"; it needs the heights it is '
        'part of: "pivot", "pushrod", "intake", "exhaust"',
    ),
    (
        'heights = ["pushrod"]',
        'heights = ["pushrod", "pushrod"]',
        "stack 1.heights names pushrod twice; once is enough",
    ),
    ('heights = ["pushrod"]', 'heights = "pushrod"', "in [ ]"),
]


@pytest.mark.parametrize(("old", "new", "said"), WRONG, ids=lambda v: v[:40])
def test_a_wrong_value_is_refused_with_its_line_and_what_to_write(old, new, said):
    text = with_line(old, new)
    line, message = only_fault(text)
    assert said in message
    assert line == line_of(text, new)


GAP_WRONG = [
    ("cold = 15", "if these are thousandths of an inch, write 0.381; if hundredths of a mm, write 0.15"),
    # 0.006 in x 25.4 mm/in = 0.1524 mm (exact, international inch)
    (
        "cold = 0.006",
        "it needs the gap in mm, engine cold: no blade is that thin; "
        "if these are inches, 0.006 in is 0.1524 mm",
    ),
    ("cold = '.006 in'", "inches are written in mm, without quotes: 0.1524"),
    ('cold = "0.15"', "write it without quotes: 0.15"),
    ('cold = "0,15"', "write it without quotes and with a point: 0.15"),
    ('cold = "0.15 mm"', "write the bare number without quotes: 0.15"),
    ("cold = -0.15", "gap_mm.intake.cold is -0.15; it needs the gap in mm, engine cold, 0 to 2"),
    ("cold = nan", "gap_mm.intake.cold is nan, which is no size; it needs the gap in mm, engine cold"),
    ("cold = false", "gap_mm.intake.cold is false, a yes-or-no value"),
    (
        "cold = 0.04",
        "gap_mm.intake.tight is 0.05, cold is 0.04; it must be less than cold: tighter than this is out",
    ),
    ("cold = 0.05", "gap_mm.intake.tight is 0.05, cold is 0.05; it must be less than cold"),
    (
        "cold = 0.0",
        "gap_mm.intake.tight is 0.05, cold is 0; leave it out for an engine that is set without a gap",
    ),
    (
        "cold = 0.30",
        "gap_mm.intake.loose is 0.3, cold is 0.3; it must be more than cold: looser than this is out",
    ),
]


@pytest.mark.parametrize(("new", "said"), GAP_WRONG, ids=lambda v: v[:40])
def test_a_wrong_gap_is_refused_with_the_gap_that_was_probably_meant(new, said):
    text = CONTRACT.replace("[gap_mm.intake]\ncold = 0.15", f"[gap_mm.intake]\n{new}")
    line, message = only_fault(text)
    assert said in message
    wrong = re.match(r"gap_mm.intake.(cold|tight|loose)", message)
    assert line == line_of(text, "[gap_mm.intake]") + {"cold": 1, "tight": 2, "loose": 3}[wrong[1]]


@pytest.mark.parametrize(
    ("new", "said"),
    [
        ("tight = 0.002", "if these are inches, 0.002 in is 0.0508 mm"),
        ("tight = 5", "if these are thousandths of an inch, write 0.127; if hundredths of a mm, write 0.05"),
        (
            "tight = -0.05",
            "gap_mm.intake.tight is -0.05; it needs the tight limit in mm, engine cold, 0 to 2",
        ),
        ("loose = 0.012", "if these are inches, 0.012 in is 0.3048 mm"),
        ("loose = 30", "write 0.762; if hundredths of a mm, write 0.3"),
    ],
)
def test_a_wrong_limit_is_refused_with_the_limit_that_was_probably_meant(new, said):
    old = "tight = 0.05\nloose = 0.30\n[gap_mm.exhaust]"
    key = new.split()[0]
    text = with_line(old, re.sub(rf"{key} = \S+", new, old))
    line, message = only_fault(text)
    assert said in message
    assert line == line_of(text, new)


# Keys at the wrong place, in the wrong unit, or by another word: (under which table line, key line, what is said)
UNKNOWN = [
    (
        "top",
        "rpm = 3000",
        "rpm is not known at the top of the file; engine speed is no part of an engine file",
    ),
    ("top", "cylindres = 4", "cylindres is not known at the top of the file; did you mean cylinders?"),
    ("top", "rotation = 'left'", "did you mean turns?"),
    ("top", "bore_mm = 85", "bore_mm belongs in [geometry]"),
    ("top", "rocker_ratio = 1.1", "rocker_ratio belongs in [linkage]"),
    ("top", "colour = 'red'", "colour is not known at the top of the file; known here: name, cylinders,"),
    ("top", '"odd key" = 1', '"odd key" is not known at the top of the file'),
    (
        "[valve_events_deg]",
        "ivo = 10",
        "ivo is not known in [valve_events_deg]; did you mean intake_opens_btdc?",
    ),
    ("[valve_events_deg]", "duration = 270", "give opening and closing, like intake_opens_btdc"),
    ("[gap_mm.exhaust]", "tigth = 0.05", "tigth is not known in [gap_mm.exhaust]; did you mean tight?"),
    ("[gap_mm.exhaust]", "minimum = 0.05", "did you mean tight?"),
    ("[linkage]", "heads = [[1]]", "heads belongs at the top of the file, before the first [table]"),
    ("[linkage]", "screw_pitch_in = 0.04", "lengths are in mm here (1 in = 25.4 mm): screw_pitch_mm"),
    ("[pulley]", "diameter_cm = 17.5", "lengths are in mm here (1 in = 25.4 mm): diameter_mm"),
    ("[pulley]", "marks = [0]", "did you mean marks_deg?"),
    ("[[stack]]", "cte = 2e-5", "cte is not known in [stack 1]; did you mean expansion_per_k?"),
    (
        "[[stack]]",
        "temperature = 20",
        "temperatures are given by zone when asked, a part only names its zone",
    ),
    ("[geometry]", "Bore-mm = 85", "keys are written in small letters with _: bore_mm"),
    ("[geometry]", "displacement = 1600", "give bore_mm and stroke_mm in [geometry] instead"),
    ("[geometry]", "every_km = 5000", "every_km belongs in [service]"),
    ("[geometry]", "zone = 'x'", "zone belongs in [[stack]]"),
]


@pytest.mark.parametrize(("table", "key", "said"), UNKNOWN)
def test_an_unknown_key_is_refused_with_the_known_one_it_may_mean(table, key, said):
    text = with_top(key) if table == "top" else with_line(f"{table}\n", f"{table}\n{key}\n")
    line, message = only_fault(text)
    assert said in message
    assert line == line_of(text, key)


def test_an_unknown_table_is_refused():
    assert only_fault(with_end("[gap_mm.other]", "cold = 0.1"))[1] == (
        "other is not known in [gap_mm]; known here: intake, exhaust"
    )
    assert "did you mean lobe?" in only_fault(with_end("[lobes.intake]", "peak_lift_mm = 8"))[1]


END_WRONG = [
    (
        ["bore_mm = 8.55"],
        "geometry.bore_mm is 8.55; it needs the bore in mm: if these "
        "are centimetres, write 85.5; if inches, 217.17",
    ),
    (["stroke_mm = 900"], "geometry.stroke_mm is 900; it needs the stroke in mm, 20 to 600"),
    (
        ["stroke_mm = 138", "rod_mm = 69"],
        "rod_mm is 69; with a stroke of 138 the rod must be longer than 69, the crank's throw",
    ),
    (
        ["compression_ratio = 1"],
        "geometry.compression_ratio is 1; it needs volume at BDC / volume at TDC, more than 1 and at most 30",
    ),
    (
        ["[service]", "every_km = 0"],
        "service.every_km is 0; it needs km between two checks, more than 0 and at most 1e+06",
    ),
    (
        ["[service]", "every_months = -1"],
        "service.every_months is -1; it needs months between two checks, more than 0",
    ),
    (["[service]", "first_km = '500'"], "write it without quotes: 500"),
    (["[service]", 'meter = "mi"'], 'service.meter is "mi"; it needs one of "km", "h"'),
    (["[service]", "km_per_h = 50"], 'km_per_h counts only with meter = "h"; add that or leave it out'),
    (["[lobe.intake]"], "lobe.intake.peak_lift_mm is missing; it needs the greatest lift at the valve in mm"),
    (["[lobe.intake]", "peak_lift_mm = 0.35"], "if these are centimetres, write 3.5; if inches, 8.89"),
    (
        ["[lobe.intake]", "peak_lift_mm = 40"],
        "lobe.intake.peak_lift_mm is 40; it needs the greatest lift at "
        "the valve in mm, more than 0 and at most 30",
    ),
    (
        ["[lobe.intake]", "peak_lift_mm = 8", "ramp_mm = 0.2"],
        "lobe.intake.ramp_deg is missing; it needs the ramp in cam degrees, as ramp_mm is given",
    ),
    (
        ["[lobe.intake]", "peak_lift_mm = 8", "ramp_deg = 12"],
        "lobe.intake.ramp_mm is missing; it needs the ramp in mm at the valve, as ramp_deg is given",
    ),
    (
        ["[lobe.intake]", "peak_lift_mm = 2", "ramp_deg = 12", "ramp_mm = 2"],
        "lobe.intake.ramp_mm is 2; it must be less than the lift, 2",
    ),
    (
        ["[lobe.intake]", "ramp_deg = 12", "ramp_mm = 2", "table = 'a'"],
        "[lobe.intake] has a table and ramp_mm; give the table or figures",
    ),
    (
        ["[lobe.intake]", "table = 'a.csv'"],
        'lobe.intake.table names "a.csv", but no folder is at hand here; give figures instead',
    ),
    (["[lobe]", "intake = 5"], "lobe.intake is the number 5; it needs the lobe, under [lobe.intake]"),
    (
        [
            "[[stack]]",
            "part='x'",
            "length_mm=1",
            "material='6061'",
            "expansion_per_k=2e-5",
            "zone='a'",
            "heights=['pivot']",
        ],
        "stack 2 has a material and an expansion_per_k; give one of them",
    ),
]


@pytest.mark.parametrize(("lines", "said"), END_WRONG, ids=lambda v: str(v)[:40])
def test_what_stands_in_the_later_tables_is_checked(lines, said):
    faults = faults_of(with_end(*lines))
    assert any(said in message for _, message in faults), faults
    first = CONTRACT.count("\n") + 1
    assert all(first <= line < first + len(lines) for line, _ in faults)


def test_rows_need_every_valve_once_and_one_row_a_head():
    rows = 'rows = [["E2", "I2", "I1", "E1"], ["E4", "I4", "I3", "E3"]]'
    assert only_fault(with_top(rows.replace('"E4"', '"E1"')))[1] == (
        "rows needs every valve once; E4 is missing and E1 stands more than once"
    )
    crossed = with_top('rows = [["E2", "I2", "I4", "E4"], ["E1", "I1", "I3", "E3"]]')
    assert [m for _, m in faults_of(crossed)] == [
        "rows 1 runs over 2 heads; it needs one row a head",
        "rows 2 runs over 2 heads; it needs one row a head",
    ]
    split = with_top('rows = [["E2", "I2"], ["I1", "E1"], ["E4", "I4", "I3", "E3"]]')
    assert only_fault(split)[1] == "rows has 3 rows for 2 heads; it needs one row a head"


def test_a_list_of_cylinders_in_place_of_heads_says_how_one_head_is_written():
    faults = faults_of(with_line("heads = [[1, 2], [3, 4]]", "heads = [1, 2, 3, 4]"))
    assert [m for _, m in faults] == [
        f"heads holds the number {n}; it needs the cylinders under each head, like [[1, 2], [3, 4]];"
        " one head for all is written [[1, 2]]"
        for n in (1, 2, 3, 4)
    ]


def test_a_valve_that_never_opens_or_never_closes_is_refused():
    never = with_line("intake_closes_abdc = 40", "intake_closes_abdc = -180")
    never = never.replace("intake_opens_btdc = 10", "intake_opens_btdc = -10")
    assert only_fault(never) == (
        line_of(never, "intake_closes_abdc"),
        "intake_opens_btdc -10 and intake_closes_abdc -180 keep the "
        "valve open for -10 crank degrees; it must be"
        " more than 0 and less than 720",
    )
    # 45 + 180 + 150 = 375 degrees at 1 mm, and a ramp of 90 cam degrees, 180 crank degrees, on each side
    always = CONTRACT.replace("exhaust_closes_atdc = 8", "exhaust_closes_atdc = 150\nchecking_lift_mm = 1")
    always += "[lobe.exhaust]\npeak_lift_mm = 9\nramp_mm = 0.2\nramp_deg = 90\n"
    assert "keep the valve open for 735 crank degrees" in only_fault(always)[1]


def test_a_checking_lift_above_the_lobes_lift_is_refused():
    text = CONTRACT.replace("exhaust_closes_atdc = 8", "exhaust_closes_atdc = 8\nchecking_lift_mm = 4")
    text += "[lobe.exhaust]\npeak_lift_mm = 4\n"
    assert only_fault(text)[1] == "checking_lift_mm is 4, the exhaust valve lifts only 4 mm"


def test_an_order_that_starts_elsewhere_is_turned_to_cylinder_one_with_its_gaps():
    # A 90 degree V-twin: 270 from cylinder 1 to 2, 450 back (common practice), written from cylinder 2.
    text = (
        CONTRACT.replace("cylinders = 4", "cylinders = 2")
        .replace("[1, 4, 3, 2]", "[2, 1]")
        .replace("[180, 180, 180, 180]", "[450, 270]")
        .replace("[[1, 2], [3, 4]]", "[[1], [2]]")
        .replace('[["I1", "I3"], ["E1", "E3"], ["I2", "I4"], ["E2", "E4"]]', "[]")
    )
    engine = read_engine(text, "x")
    assert (engine.firing_order, engine.firing_gaps_deg) == ((1, 2), (270.0, 450.0))


def test_gaps_rounded_by_hand_are_brought_to_two_whole_turns():
    text = (
        CONTRACT.replace("cylinders = 4", "cylinders = 7")
        .replace("[1, 4, 3, 2]", "[1, 3, 5, 7, 2, 4, 6]")
        .replace("[180, 180, 180, 180]", str([102.86] * 7))
        .replace("[[1, 2], [3, 4]]", "[[1, 2, 3, 4, 5, 6, 7]]")
    )
    assert sum(read_engine(text, "x").firing_gaps_deg) == pytest.approx(720, abs=1e-9)


def test_marks_are_kept_within_one_turn():
    text = with_line("marks_deg = [0]", "marks_deg = [0, 190, 530.5]")
    assert read_engine(text, "x").pulley.marks_deg == (0.0, 190.0, 170.5)


def test_other_trains_are_read_and_a_direct_one_needs_no_ratio():
    finger = with_line("[linkage]", '[linkage]\ntrain = "finger"')
    assert read_engine(finger, "x").linkage.train == "finger"
    direct = with_line("[linkage]\nrocker_ratio = 1.1", '[linkage]\ntrain = "direct"')
    assert read_engine(direct, "x").linkage == Linkage(1.0, "valve", 1.0, "direct")
    ratio = with_line("[linkage]", '[linkage]\ntrain = "direct"')
    assert only_fault(ratio)[1] == "a direct train has no rocker: leave rocker_ratio 1.1 out"
    side = direct.replace('screw_side = "valve"', 'screw_side = "pushrod"')
    assert only_fault(side)[1] == 'a direct train has no pushrod side: leave screw_side out or write "valve"'
    unknown = with_line("[linkage]", '[linkage]\ntrain = "bucket"')
    assert only_fault(unknown)[1].endswith('did you mean "direct"?')


def test_all_faults_come_at_once_in_the_order_of_the_lines():
    text = CONTRACT
    changes = [
        ('turns = "clockwise"', "turns = clockwise", "'clockwise' is text and needs quotes: \"clockwise\""),
        ("[3, 4]]", "[3, 3]]", "heads needs each cylinder 1 to 4 under one head; 4 is missing"),
        ("intake_closes_abdc = 40", "intake_closes_abdc = 4O", "'4O' is no single value"),
        ("[gap_mm.exhaust]\ncold = 0.15", "[gap_mm.exhaust]\ncold = 0,15", "numbers take a point: 0.15"),
        ("rocker_ratio = 1.1", "roker_ratio = 1.1", "did you mean rocker_ratio?"),
        ("diameter_mm = 175", "diameter_mm = 1.75", "if these are centimetres, write 17.5"),
        ('zone = "pushrod"', 'zone = ""', "stack 1.zone is empty"),
    ]
    for old, new, _ in changes:
        text = with_line(old, new, text)
    faults = faults_of(text)
    said = [(line, message) for line, message in faults if "linkage.rocker_ratio is missing" not in message]
    assert len(said) == len(changes)
    for (line, message), (_, new, fragment) in zip(said, changes, strict=True):
        assert fragment in message
        assert line == line_of(text, new) + new.count("\n")
    assert len(faults) == len(changes) + 1  # the misspelt ratio is missing as well


def test_the_number_of_cylinders_is_taken_from_the_order_where_it_is_faulty():
    text = with_line("cylinders = 4", "cylinders = 4.0").replace("[3, 4]]", "[3, 5]]")
    assert [m.split(";")[0] for _, m in faults_of(text)] == [
        "cylinders is the number 4.0",
        "heads 2, item 2 is 5",
    ]


def test_a_lift_tables_faults_are_all_named_with_their_lines():
    rows = ["cam_deg,lift_mm", *(f"{10 * i},{0.5 * i}" for i in range(9))]
    rows[4] = "20, x"
    rows[6] = "5, 1.0"
    text = with_end("[lobe.intake]", "table = 'in.csv'")
    faults = faults_of(text, {"in.csv": "\n".join(rows)}.__getitem__)
    assert faults == [
        (line_of(text, "table ="), "\"in.csv\": line 5: lift: 'x' is not a number; write it like 0.15"),
        (
            line_of(text, "table ="),
            '"in.csv": line 7: angle 5 follows 40; angles must rise from row to row',
        ),
    ]


@pytest.mark.parametrize(
    "trouble",
    [
        InputError("no such file"),
        OSError("no such file"),
        UnicodeDecodeError("utf-8", b"x", 0, 1, "no such file"),
    ],
)
def test_a_lift_table_that_cannot_be_read_is_a_fault_of_its_line(trouble):
    def read_table(name: str) -> str:
        raise trouble

    text = with_end("[lobe.intake]", "table = 'in.csv'")
    line, message = only_fault(text, read_table)
    assert line == line_of(text, "table =")
    assert message.startswith('lobe.intake.table: "in.csv" can\'t be read: ')
    assert "no such file" in message


@pytest.mark.parametrize("name", ["Ωμέγα", "발전기", "نمی‌شود", "🚒 Nr. 3", "O'Neill \\ Søn", "क्षि"])
def test_names_in_any_script_are_kept(name):
    escaped = name.replace("\\", "\\\\")
    assert read_engine(with_line("Launch engine", escaped), "x").name == name


def test_a_name_that_turns_the_direction_of_writing_is_refused():
    assert "control character" in only_fault(with_line("Launch engine", "a\u202eb"))[1]


def test_a_byte_order_mark_and_windows_line_ends_change_nothing():
    assert read_engine("\ufeff" + CONTRACT.replace("\n", "\r\n"), "x") == read_engine(CONTRACT, "x")
    text = with_line("diameter_mm = 175", "diameter_mm = 1.75")
    assert faults_of("\ufeff" + text.replace("\n", "\r\n")) == faults_of(text)


def test_the_message_names_the_file_the_count_and_every_fault():
    text = with_line("cylinders = 4", "cylinders = 17").replace("diameter_mm = 175", "diameter_mm = 0")
    with pytest.raises(
        FaultyFileError, match=r"^shed/launch.toml: 2 faults, nothing was taken from it\n  line 2"
    ):
        read_engine(text, "shed/launch.toml")


# Any file, however mangled, gives an engine or a FaultyFileError whose places lie within the file.

ODD_WORDS = """0 -1 1e400 nan inf true 2020-01-01 [] [[]] {} {a=1} '' "x" "0.15" 0,15 .5 5. 00 [1,[2],'x'] "E99" 0xffff
] [ = # ' " \\"\\"\\" \\ [[stack]] [stack] [lobe.intake] e9 _ - = [gap_mm]"""
PIECES = st.sampled_from(
    [
        *ODD_WORDS.split(),
        *"\n\r\t\x00\x1f\ufeff\ud800𝟙\u2028",
        *("9" * 5000, "[" * 3000, "0x" + "f" * 5000, "a." * 500 + "b = 1", '"""', "''''"),
    ]
)
SOURCES = [CONTRACT, *(generic_text(name) for name in generic_names())]


@st.composite
def mangled(draw):
    """A good engine file with a few pieces cut out, put in, doubled or replaced by odd ones."""
    text = draw(st.sampled_from(SOURCES))
    for _ in range(draw(st.integers(1, 4))):
        cut = sorted(draw(st.tuples(st.integers(0, len(text)), st.integers(0, 12))))
        kind = draw(st.sampled_from(("piece", "value", "cut", "double", "line")))
        lines = text.split("\n")
        at = draw(st.integers(0, len(lines) - 1))
        if kind == "piece":
            where = draw(st.integers(0, len(text)))
            text = text[:where] + draw(PIECES) + text[where:]
        elif kind == "value" and "=" in lines[at]:
            lines[at] = lines[at].split("=")[0] + "= " + draw(PIECES)
            text = "\n".join(lines)
        elif kind == "cut":
            text = text[: cut[0]] + text[cut[1] :]
        elif kind == "double":
            lines.insert(draw(st.integers(0, len(lines) - 1)), lines[at])
            text = "\n".join(lines)
        else:
            del lines[at]
            text = "\n".join(lines)
    return text


def check_reads_or_refuses(text: str) -> None:
    refused: FaultyFileError | None = None
    try:
        engine = read_engine(text, "mangled")
    except FaultyFileError as error:
        refused = error
    if refused is not None:
        last = text.count("\n") + 1
        assert refused.faults
        assert all(0 <= fault.line <= last and fault.message for fault in refused.faults)
        assert str(refused).encode()  # can be shown on any terminal
    else:
        assert sorted(engine.firing_order) == list(range(1, engine.cylinders + 1))
        assert sum(engine.firing_gaps_deg) == pytest.approx(720)
        assert sorted(c for head in engine.heads for c in head) == sorted(engine.firing_order)


@settings(max_examples=400, derandomize=True, deadline=None, suppress_health_check=list(HealthCheck))
@given(mangled())
def test_any_mangled_file_gives_an_engine_or_its_faults(text):
    check_reads_or_refuses(text)


@settings(max_examples=200, derandomize=True, deadline=None)
@given(st.text(max_size=80))
def test_any_text_gives_an_engine_or_its_faults(text):
    check_reads_or_refuses(text)
