"""Shapes of lines met in the field, as our own cases: the id of each case stands in its test id.

All numbers are of our own invention: 4318 mm is 170 in exactly, so that a slip of unit shows. Expected values are
what the text says, read by hand; every stream runs whole and byte by byte, and no byte may be lost.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import pytest

from axledger.contract.frame import DeviceFault, Echo, Frame, Measured, Status, StatusKind, Unreadable
from axledger.contract.profile import Profile
from axledger.contract.quantity import Quantity
from axledger_drivers.decoders.line import LineDecoder
from axledger_drivers.registry import load_profile

S = 1_000_000_000
Chunk = tuple[float, bytes]


def build(*lines: dict[str, Any], framing: dict[str, Any] | None = None) -> Profile:
    return Profile.model_validate(
        {
            "schema": 1,
            "name": "of-this-test",
            "title": "example of our own",
            "transports": ["recorded"],
            "framing": framing or {},
            "line": list(lines),
        }
    )


def measured(pattern: str, *, unit: str = "mm", more: dict[str, Any] | None = None, **field: Any) -> dict[str, Any]:
    quantity = "length" if unit in {"m", "mm", "0.1mm", "in"} else "inclination"
    value = {"group": "n", "quantity": quantity, **({} if "unit_group" in field else {"unit": unit}), **field}
    return {"kind": "measured", "pattern": pattern, "value": [value], **(more or {})}


def fault(pattern: str, **more: Any) -> dict[str, Any]:
    return {"kind": "fault", "pattern": pattern, **more}


def status(pattern: str, kind: str, *value: dict[str, Any]) -> dict[str, Any]:
    return {"kind": "status", "pattern": pattern, "status": kind, "value": list(value)}


def run(profile: Profile, chunks: list[Chunk], sent: list[Chunk], *, singly: bool) -> tuple[Frame, ...]:
    decoder = LineDecoder(profile)
    frames: list[Frame] = []
    events = sorted([(t, 0, data) for t, data in sent] + [(t, 1, data) for t, data in chunks])
    for t, arrived, data in events:
        at_ns = round(t * S)
        if not arrived:
            decoder.sent(data, at_ns)
            continue
        for piece in [data[i : i + 1] for i in range(len(data))] if singly else [data]:
            frames += decoder.feed(piece, at_ns)
    frames += decoder.quiet(round((chunks[-1][0] + 100) * S))
    return (*frames, *decoder.finish())


def said(frame: Frame) -> object:
    """Say what a frame means: mm and degrees, or the code, or the kind."""
    match frame.outcome:
        case Measured(values=values, held=held):
            numbers = [
                round(value.si * 1000, 6) if value.quantity is Quantity.LENGTH else round(math.degrees(value.si), 6)
                for value in values
            ]
            return ("held", *numbers) if held else numbers[0] if len(numbers) == 1 else tuple(numbers)
        case DeviceFault(code=code):
            return f"fault {code}"
        case Status(kind=kind):
            return kind.value
        case Echo():
            return "echo"
        case Unreadable():
            return "unreadable"


METRES = build(measured(r"\s*(?P<n>\d+\.\d{3})\s?m", unit="m"))
METRES_QUIET = build(measured(r"(?P<n>\d+\.\d{3})m", unit="m"), framing={"end": "quiet", "quiet_ms": 50})
METRES_MESSAGE = build(measured(r"(?P<n>\d+\.\d{3})m", unit="m"), framing={"end": "message"})
COMMA = build(
    measured(r"(?P<n>[\d.,]+) mm", decimal_mark=","), measured(r"(?P<n>\d+,\d{3}) m", unit="m", decimal_mark=",")
)
MILLIMETRES = build(measured(r"(?P<n>\d{1,8})(?: ?mm)?"))
ANY_TEXT = build(measured(r"(?P<n>.+?) mm"), measured(r"(?P<n>.+?) m", unit="m"))
TEN_TIMES = build(
    measured(r"31\.\.00(?P<n>[+-]\d{8})(?: 5[0-9]\.{4}[+-]\d{8})?"),
    measured(r"31\.\.06(?P<n>[+-]\d{8})(?: 5[0-9]\.{4}[+-]\d{8})?", unit="0.1mm"),
    status(r"40\.{4}\+\d{8}", "temperature"),
)
WITH_QUALITY = build(
    measured(
        r"(?:D:)?(?P<n>\d+\.\d{3})m,\s?(?P<q>\d{4})",
        unit="m",
        more={"quality": {"group": "q", "direction": "small is good", "limit": 1000}},
    ),
    status(r",OK!", "acknowledgement"),
    status(r"nDist: \d+,tempDv=\d+", "restatement"),
    status(
        r"(?P<t>-?\d+\.\d)'C, (?P<v>\d+\.\d)V",
        "battery",
        {"group": "t", "quantity": "temperature", "unit": "degC"},
        {"group": "v", "quantity": "supply", "unit": "V"},
    ),
    fault(r"OUT_RAN dist = (?P<c>\d+)", code="c"),
)
FAULTS = build(
    measured(r"(?P<n>\d+)"),
    fault(r"OUT_RAN dist = (?P<c>\d+)", code="c"),
    fault(r"@E(?P<c>\d+)|ERR\d+|Er\d+", otherwise="it could not measure"),
)
_TILT = {"group": "t", "quantity": "inclination", "unit": "deg"}
_SLOPE = {"group": "n", "quantity": "length", "unit": "m", "reserved": ["", "9999.99"]}
_CHECK = {"kind": "xor", "group": "c", "covers": "b"}
FIELDS = build(
    {
        "kind": "measured",
        "pattern": r"\$(?P<b>PXLRF,HV,\d+\.\d\d,M,\d+\.\d,D,(?P<t>-?\d+\.\d),D,(?P<n>\d+\.\d\d),M)\*(?P<c>[0-9A-F]{2})",
        "value": [_SLOPE, _TILT],
        "check": _CHECK,
    },
    {
        "kind": "measured",
        "pattern": r"\$(?P<b>PXLRF,HV,,,\d+\.\d,D,(?P<t>-?\d+\.\d),D,(?P<n>),)\*(?P<c>[0-9A-F]{2})",
        "value": [_SLOPE, _TILT],
        "check": _CHECK,
    },
    {
        "kind": "measured",
        "pattern": r"\$(?P<b>PXLRF,HV,,M,\d+\.\d,D,(?P<t>-?\d+\.\d),D,9999\.99,(?P<n>9999\.99),M)\*(?P<c>[0-9A-F]{2})",
        "value": [_SLOPE, _TILT],
        "check": _CHECK,
    },
)
RESERVED = build(
    measured(r"d (?P<n>-?\d+(?:\.\d+)?)", reserved=["65535", "9999.99", "-268435458", "0"], least=50, most=20000),
    fault(r"[+-]\d\.\d+E\+37,M,(?P<c>OL),NONE", code="c"),
)
HELD = build(
    measured(r"(?P<n>-?\d{5}) mm"),
    measured(r"(?P<n>-?\d{5}) mm Peak", more={"held": True}),
    measured(r"M\+ (?P<n>\d\d\.\d\d)M\s*", more={"held": True}),
    fault("HELP", otherwise="overload"),
)
BLANKS_FIRST = build(measured(r"\xff {0,6}(?P<n>\d{1,6})"), framing={"end": "quiet", "quiet_ms": 50})
PADDED_SIGN = build(measured(r"(?P<n>[+-] \d+\.\d{4}), MM"))
HEX = build(
    measured(
        r"\[(?P<b>1001(?P<k>\d{4})(?P<n>[0-9A-F]{4}))(?P<c>[0-9A-F]{2})\]",
        digits="hex-low-first",
        more={"check": {"kind": "xor", "group": "c", "covers": "b", "over": "hex"}},
    ),
    framing={"end": "message"},
)
THOUSANDS = build(measured(r"(?P<n>[\d\xa0\xc2]+) mm"), framing={"end": "message"})
TOLERANCE = build(measured(r"(?P<n>\d+\.\d\d)<?"))
LONG_MOST = build(measured(r"(?P<n>\d+\.\d{3})m", unit="m", least="0.05", most="60"))
TILT = load_profile("tilt-line")
TYPED = load_profile("typed")


@dataclass(frozen=True, slots=True)
class Case:
    id: str
    profile: Profile
    chunks: list[Chunk]
    expected: list[object]
    sent: tuple[Chunk, ...] = ()
    singly: bool = True  # a message framing cannot be fed in pieces: a chunk is the message


def one(case_id: str, profile: Profile, data: bytes, *expected: object, singly: bool = True) -> Case:
    return Case(case_id, profile, [(0.0, data)], list(expected), singly=singly)


SENT_D = ((0.0, b"D"),)
CASES = [
    Case("F01-glued", WITH_QUALITY, [(0.01, b"D"), (0.45, b"4.318m, 0093\r\n")], ["echo", 4318], SENT_D),
    Case("F01-own-line", WITH_QUALITY, [(0.01, b"D\r\n"), (0.45, b"4.318m, 0093\r\n")], ["echo", 4318], SENT_D),
    Case("F01-no-echo", WITH_QUALITY, [(0.45, b"4.318m, 0093\r\n")], [4318], SENT_D),
    Case("F01-answer-begins-like-echo", WITH_QUALITY, [(0.05, b"D:4.318m,0093\r\n")], [4318], SENT_D),
    Case("F01-cut-short", METRES, [(0.01, b"GO"), (0.2, b"4.318m\r")], ["echo", 4318], ((0.0, b"GO1\r"),)),
    Case("F01-front-lost", METRES, [(0.01, b"O1\r"), (0.2, b"4.318m\r")], ["echo", 4318], ((0.0, b"GO1\r"),)),
    Case("F01-too-late", WITH_QUALITY, [(0.2, b"D4.318m, 0093\r")], ["unreadable"], SENT_D),
    Case("F01-not-first", WITH_QUALITY, [(0.01, b"4.318m, 0093\r"), (0.02, b"D\r")], [4318, "unreadable"], SENT_D),
    Case("F01-digit-echo-ambiguous", METRES, [(0.01, b"44.318m\r")], ["unreadable"], ((0.0, b"4"),)),
    Case("F01-echo-left-alone", METRES, [(0.01, b"D"), (3.0, b"4.318m\r")], ["echo", 4318], SENT_D),
    one("F02", FAULTS, b"OUT_RAN dist = 31\r\n@E255\r\nERR3\rEr05\r\n",
        "fault 31", "fault @E255", "fault ERR3", "fault Er05"),
    one("F03-reserved", RESERVED, b"d 65535\rd 9999.99\rd -268435458\rd 0.00\rd 4318\r",
        "fault 65535", "fault 9999.99", "fault -268435458", "fault 0.00", 4318),
    one("F03-own-range", RESERVED, b"d 21000\rd 31\rd 50\r", "unreadable", "unreadable", 50),
    one("F03-R47-overload", RESERVED, b"+9.99999999E+37,M,OL,NONE\r", "fault OL"),
    one("F04", WITH_QUALITY, b"D:4.318m,0093\r\nD:4.296m,2410\r\n", 4318, 4296),
    one("F05", WITH_QUALITY, b"24.5'C, 2.9V\r\n4.318m, 0093\r\n", "battery", 4318),
    Case("F07", PADDED_SIGN, [(0.0, b"+ 4.3180, MM\r"), (1.0, b"+ 4.3190, MM\r")], [4.318, 4.319]),
    Case("F08", METRES, [(0.0, b"4.318m\r"), (0.3, b"\n4.319m\r\n"), (0.4, b"\n"), (0.5, b"\r\r\n4.320m\n\r")],
         [4318, 4319, 4320]),
    Case("F09", BLANKS_FIRST, [(0.0, b"\xff  4318"), (0.9, b"\xff  4319")], [4318, 4319]),
    one("F11-wrong-check", FIELDS, b"$PXLRF,HV,4.37,M,128.4,D,-1.6,D,4.32,M*44\r\n", "unreadable"),
    one("F14-comma", COMMA, b"4,318 m\r\n4.318,2 mm\r\n", 4318, 4318.2),
    one("F14-point-in-comma-profile", COMMA, b"4.318 m\r\n4.318 mm\r\n", "unreadable", "unreadable"),
    one("F14-no-mark-told", ANY_TEXT, b"4,318 m\r\n", "unreadable"),
    one("F15-typed", TYPED, b"14' 2 1/16\"\n14ft 2-1/16in\n14' 1/2\"\n170 1/16\"\n14' 13\"\n14' 2 1/17\"\n",
        4319.5875, 4319.5875, 4279.9, 4319.5875, "unreadable", "unreadable"),
    Case("F17", TILT, [(0.0, b"+1.27\xc2"), (0.2, b"\xb0\r\n"), (0.3, b"+1.27\xb0\r\n"), (0.4, b"\xfe\xff\x80\r\n")],
         [1.27, 1.27, "unreadable"]),
    one("F18-behind", METRES_MESSAGE, b"4.318m" + bytes(14), 4318, singly=False),
    one("F18-in-front", METRES, bytes(33) + b"4.318m\r\n", 4318),
    one("F20", FIELDS, b"$PXLRF,HV,4.31,M,128.4,D,-1.6,D,4.32,M*44\r\n$PXLRF,HV,,,128.4,D,-1.6,D,,*47\r\n"
        b"$PXLRF,HV,,M,128.4,D,-1.6,D,9999.99,9999.99,M*6B\r\n", (4320, -1.6), -1.6, -1.6),
    one("F21", TILT, b"- 0.37\r\xe2\x88\x921.27\xc2\xb0\r\n-0\xc2\xb022'12\"\r\n", -0.37, -1.27, -0.37),
    one("F21-sign-lost", TILT, b"0.37\r1.27\xb0\r", "unreadable", "unreadable"),
    one("F22", TEN_TIMES, b"31..00+00004318\r\n31..06+00043182 51....+00000000\r\n31..07+00431820\r\n",
        4318, 4318.2, "unreadable"),
    one("F23", ANY_TEXT, b"nan m\rinf m\r4_318 mm\r1e5 mm\r\xef\xbc\x94.3 m\r", *["unreadable"] * 5),
    one("F24", HELD, b"-00432 mm Peak\r\nM+ 04.31M  \n", ("held", -432), ("held", 4.31)),
    one("F26", TILT, bytes.fromhex("D8 BD 2B 30 B1 2E B2 B7 30 8D 0A"), "unreadable"),
    Case("F38-one-message-in-two", TEN_TIMES, [(0.0, b"31..00+00004318 51.."), (0.015, b"..+00000137\r\n")], [4318]),
    one("F38-two-in-one", METRES_MESSAGE, b"4.318m\r\n4.319m\r\n", 4318, 4319, singly=False),
    one("F58-heard-too-fast", METRES, bytes.fromhex("60 18 86 1E 98 E0 18 98 9E 66 80 98 80"), "unreadable"),
    one("F58-heard-too-slow", METRES, bytes.fromhex("2B 5A BA 09"), "unreadable"),
    Case("F60-whole", METRES, [(0.0, b"4.3"), (0.7, b"18m\r\n")], [4318]),
    Case("F60-silence", METRES, [(0.0, b"4.3")], ["unreadable"]),
    Case("F60-late-rest", METRES, [(0.0, b"4."), (1.5, b"3.318m\r\n"), (1.6, b"4.319m\r\n")],
         ["unreadable", 3318, 4319]),
    Case("F60-late-rest-fits", METRES, [(0.0, b"1"), (1.5, b"4.318m\r\n")], ["unreadable", "unreadable"]),
    Case("F60-too-late-for-a-rest", METRES, [(0.0, b"1"), (60.0, b"4.318m\r\n")], ["unreadable", 4318]),
    one("F63", METRES, b"4.3m\r\n.318m\r\n4318\r\n", *["unreadable"] * 3),
    one("F68", METRES, b"\xff4.318m\r\n4.319m\r\n", "unreadable", 4319),
    one("R01", WITH_QUALITY, b"D:4.318m,0093\r\n", 4318),
    one("R02", WITH_QUALITY, b"4.318m, 0093\r\n", 4318),
    one("R03", WITH_QUALITY, b",OK!\r\n", "acknowledgement"),
    one("R04", WITH_QUALITY, b"24.5'C, 2.9V\r\n", "battery"),
    one("R06", WITH_QUALITY, b"nDist: 4318,tempDv=0\r\n", "restatement"),
    one("R07", WITH_QUALITY, b"OUT_RAN dist = 31\r\n", "fault 31"),
    one("R11", TEN_TIMES, b"31..06+00043182 51....+00000000\r\n", 4318.2),
    one("R13", TEN_TIMES, b"40....+00000245\r\n", "temperature"),
    one("R29", HEX, b"[10010002420F5E]", 3906, singly=False),
    one("R29-wrong-check", HEX, b"[10010002430F5E]", "unreadable", singly=False),
    one("R30", METRES_MESSAGE, b"4.318m", 4318, singly=False),
    one("R37", TILT, b"+1.27\xc2\xb0\r\n+1.27\xb0\r\n+1.27\xc2\xba\r\n", 1.27, 1.27, 1.27),
    one("R42", HELD, b"-00432 mm Peak\r\nHELP\r\n", ("held", -432), "fault HELP"),
    one("R43", TOLERANCE, b"12.34<\r", 12.34),
    one("R44", HELD, b"M+ 04.31M  \n", ("held", 4.31)),
    one("R50", TYPED, "14\u2032 2 1\u204416\u2033\n".encode(), 4319.5875),
    one("R51", COMMA, b"4,318 m\r\n", 4318),
    one("R52", THOUSANDS, b"4\xc2\xa0318 mm", 4318, singly=False),
    one("R53", MILLIMETRES, b"00004318\r\n", 4318),
    one("R53-metres", METRES, b"0004.318m\r\n", 4318),
    one("R53-no-unit-told", METRES, b"00004318\r\n", "unreadable"),
    one("R54", METRES_QUIET, b"4.318m" + bytes(14), 4318),
    one("R57", TILT, b"-0\xc2\xb022'12\"\r\n", -0.37),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.id)
def test_field_line(case: Case) -> None:
    frames = run(case.profile, case.chunks, list(case.sent), singly=False)
    assert b"".join(frame.raw for frame in frames) == b"".join(data for _, data in case.chunks)
    assert [said(frame) for frame in frames if said(frame) != "blank"] == case.expected
    if case.singly:
        assert run(case.profile, case.chunks, list(case.sent), singly=True) == frames


def outcomes(profile: Profile, data: bytes) -> list[object]:
    frames = run(profile, [(0.0, data)], [], singly=False)
    return [frame.outcome for frame in frames if said(frame) != "blank"]


def test_f01_echo_and_answer_keep_their_own_times() -> None:
    frames = run(WITH_QUALITY, [(0.01, b"D"), (0.45, b"4.318m, 0093\r\n")], list(SENT_D), singly=False)
    assert [(frame.raw, frame.at_ns) for frame in frames[:2]] == [(b"D", 10_000_000), (b"4.318m, 0093\r", 450_000_000)]


def test_f02_code_is_kept_and_told_in_words() -> None:
    [outcome] = outcomes(FAULTS, b"@E255\r\n")
    assert outcome == DeviceFault(code="@E255", words="it could not measure")


def test_f04_quality_is_kept_with_its_direction() -> None:
    doubtful: list[tuple[float, bool]] = []
    for outcome in outcomes(WITH_QUALITY, b"D:4.318m,0093\r\nD:4.296m,2410\r\n"):
        assert isinstance(outcome, Measured)
        assert outcome.quality is not None
        doubtful.append((outcome.quality.figure, outcome.quality.doubtful))
    assert doubtful == [(93.0, False), (2410.0, True)]
    [plain] = outcomes(METRES, b"4.318m\r")
    assert isinstance(plain, Measured)
    assert plain.quality is None


def test_f05_status_updates_temperature_and_supply() -> None:
    [outcome] = outcomes(WITH_QUALITY, b"24.5'C, 2.9V\r\n")
    assert isinstance(outcome, Status)
    assert outcome.kind is StatusKind.BATTERY
    assert [(value.quantity, value.si) for value in outcome.values] == [
        (Quantity.TEMPERATURE, 24.5),
        (Quantity.SUPPLY, 2.9),
    ]


def test_f07_a_line_ended_by_cr_is_there_at_once() -> None:
    [frame] = LineDecoder(PADDED_SIGN).feed(b"+ 4.3180, MM\r", 7)
    assert (said(frame), frame.at_ns) == (4.318, 7)


def test_f09_the_gap_delivers_the_last_value_without_a_next_one() -> None:
    decoder = LineDecoder(BLANKS_FIRST)
    assert decoder.feed(b"\xff  4318", 0) == ()
    assert decoder.quiet(round(0.049 * S)) == ()
    [frame] = decoder.quiet(round(0.05 * S))
    assert (said(frame), frame.at_ns) == (4318, 0)


def why(profile: Profile, data: bytes) -> str:
    last = outcomes(profile, data)[-1]
    assert isinstance(last, Unreadable)
    return last.why


@pytest.mark.parametrize(
    ("profile", "data", "words"),
    [
        pytest.param(RESERVED, b"d 21000\r", "outside the device's own range, 50 to 20000 mm", id="F03"),
        pytest.param(FIELDS, b"$PXLRF,HV,4.37,M,128.4,D,-1.6,D,4.32,M*44\r\n", "says 44, its bytes give 42", id="F11"),
        pytest.param(METRES, b"4,318m\r\n", "decimal mark, '4.318m', or does it split thousands, '4318m'", id="F14"),
        pytest.param(TILT, bytes.fromhex("D8BD2B30B12EB2B7308D0A"), "7 data bits, even parity", id="F26"),
        pytest.param(METRES, b"4.3", "incomplete", id="F60"),
        pytest.param(METRES, b"4.3m\r\n.318m\r\n4318\r\n", "another program may be reading", id="F63"),
        pytest.param(METRES, b"\x80\x98\r" * 5, "the speed of the port may be wrong", id="F58"),
    ],
)
def test_refusal_names_the_cause(profile: Profile, data: bytes, words: str) -> None:
    assert words in why(profile, data)


@pytest.mark.parametrize(("line", "expected"), [(b"an0FF", 0), (b"an100", 1), (b"an1FF", None)])
def test_f11_check_holds_on_both_sides_of_the_high_byte(line: bytes, expected: int | None) -> None:
    """By hand: a = 97, n = 110, "0" = 48, "1" = 49, so the sums are 255 and 256."""
    check = {"kind": "sum8", "group": "c", "covers": "b"}
    profile = build(measured(r"(?P<b>an(?P<n>\d))(?P<c>[0-9A-F]{2})", more={"check": check}))
    [frame, *_] = run(profile, [(0.0, line + b"\r")], [], singly=True)
    assert said(frame) == ("unreadable" if expected is None else expected)
