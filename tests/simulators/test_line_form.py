from __future__ import annotations

import re
from importlib.resources import files

import pytest

from axledger.contract.errors import UnknownName
from axledger.contract.profile import FaultLine, MeasuredLine, parse_profile
from axledger_simulators.line_form import FORMS, LineForm, form_named


@pytest.mark.parametrize(
    ("name", "expected"),
    [  # lines of our own making: 4.318 m, quality 93, inclination -1.27 degrees, counter 42
        ("metre-line", b"4.318m\r\n"),
        ("metre-line-fine", b"4.3182m\r\n"),
        ("millimetre-quality", b"D:4318mm,0093\r\n"),
        ("metre-tilt", b"#0042,4.318m,-01.27d*28\r\n"),  # computed by hand: the sum is that of the profile's example
        ("polled-metre", b"D:4.318m,0093\r\n"),
        ("gatt-metre", b"4.318m\r\n"),
    ],
)
def test_bytes_of_each_form(name: str, expected: bytes) -> None:
    length_m = 4.3182 if name.endswith("fine") else 4.318
    assert form_named(name).measured(length_m=length_m, tilt_deg=-1.27, quality=93, counter=42) == expected


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS)
def test_each_shipped_profile_knows_both_lines(form: LineForm) -> None:
    text = files("axledger_drivers.profiles").joinpath(f"{form.profile}.toml").read_text(encoding="utf-8")
    rules = parse_profile(text, path=form.profile).line

    def kinds(line: bytes) -> list[str]:
        shown = line.decode("latin-1").removesuffix("\r\n")
        return [type(rule).__name__ for rule in rules if re.fullmatch(rule.pattern, shown)]

    assert kinds(form.measured(length_m=12.045, tilt_deg=0.32, quality=93, counter=7)) == [MeasuredLine.__name__]
    assert kinds(form.failed(counter=7)) == [FaultLine.__name__]


def test_a_strange_form_lists_the_known_ones() -> None:
    with pytest.raises(UnknownName) as caught:
        form_named("furlong-line")
    assert "metre-line" in caught.value.known
