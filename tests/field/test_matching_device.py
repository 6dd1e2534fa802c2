"""Device profiles: the generic one says what it is, and a faulty file gets one clear sentence."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import pytest

from evenfield.field.device import Cables, DeviceError, Quantity, load_device_profile
from evenfield.tissue import Label

GENERIC = files("evenfield.field").joinpath("data", "generic_device.toml").read_text("utf-8")


def test_the_generic_profile_says_so_and_sources_every_number() -> None:
    profile = load_device_profile()
    assert profile.generic
    assert "rough guide" in profile.assumptions()[0]
    numbers = profile.numbers()
    assert len(numbers) == 18
    for name, number in numbers.items():
        assert number.source.strip(), name
        assert (number.label is Label.A) == number.source.startswith("Assumption"), name
    assumed = [name for name, number in numbers.items() if number.label is Label.A]
    assert [line.split(":")[0] for line in profile.assumptions()[1:]] == assumed


def test_numbers_are_in_si() -> None:
    profile = load_device_profile()
    assert profile.shunt_f.most == pytest.approx(125e-12)
    assert profile.coil_h.value == pytest.approx(4.34e-6)
    spacing = profile.spacing_m[Cables.SPREAD]
    assert (spacing.low, spacing.value, spacing.high, spacing.unit) == pytest.approx((0.2, 0.3, 0.4, "m"))
    assert str(profile.wire_m).startswith("0.004 m [A]")


def test_a_profile_of_ones_own_needs_no_spread(tmp_path: Path) -> None:
    path = tmp_path / "ours.toml"
    path.write_text(
        GENERIC.replace("generic = true", "generic = false").replace(
            "low = 200, high = 400, source", "source"
        )
    )
    profile = load_device_profile(path)
    assert profile.name == "ours"
    assert isinstance(profile.coil_q, Quantity)
    assert profile.coil_q.low == profile.coil_q.high == 300
    assert not any("rough guide" in line for line in profile.assumptions())


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            "coil_q = { value = 300",
            "coil_q = { value = 500",
            "coil_q: 500 is not between low 200 and high 400",
        ),
        ("coil_q = {", "coil_quality = {", "tuner.coil_q: field required"),
        (
            'source = "usual"',
            'source = "hearsay"',
            'source_ohm: source "hearsay" is not listed; allowed: usual',
        ),
        ("least = 10, most = 125", "least = 126, most = 125", "shunt_pf: least 126 is above most 125"),
        ("value = 50,", "value = 0,", "source_ohm: 0 is not allowed"),
        ("value = 50,", "value = nan,", "tuner.source_ohm.value"),
        ("value = 50,", 'value = "50",', "tuner.source_ohm.value"),
        ("value = 50,", "value = 50, low = 40,", "source_ohm: low and high are not used here"),
        ("wire_mm = { value = 4", "wire_mm = { value = 9", "allowed: wire thinner than insulation"),
        ("touching = { value = 8", "touching = { value = 7", "spacing not below insulation"),
        (
            "permittivity = { value = 3.0",
            "permittivity = { value = 0.5",
            "permittivity 0.5; allowed: 1 or more",
        ),
        ("high = 0.2,", "high = 1.0,", "elsewhere 1; allowed: 0 to below 1"),
        ("generic = true", "generic = ", "is not valid TOML"),
    ],
)
def test_a_faulty_file_gets_one_sentence(tmp_path: Path, old: str, new: str, words: str) -> None:
    assert old in GENERIC
    path = tmp_path / "ours.toml"
    path.write_text(GENERIC.replace(old, new, 1))
    with pytest.raises(DeviceError) as caught:
        load_device_profile(path)
    assert words in str(caught.value)
    assert "ours.toml" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_file_that_is_there_is_told_what_is_wrong_with_it(tmp_path: Path) -> None:
    path = tmp_path / "bin.toml"
    path.write_bytes(b"title = \xff")
    with pytest.raises(DeviceError, match=r'bin.toml" is not text in UTF-8 \(byte 9\); save'):
        load_device_profile(path)
    with pytest.raises(DeviceError, match="cannot be read: is a directory"):
        load_device_profile(tmp_path)


def test_a_missing_file_names_what_is_shipped() -> None:
    with pytest.raises(DeviceError, match=r"neither a readable file nor .* allowed: generic or the path"):
        load_device_profile("nowhere.toml")
