"""[meter.accuracy] of bench.toml: the figures as makers print them."""

from __future__ import annotations

import pytest

from benchcheck.bench.config import config_from_mapping, config_from_toml
from benchcheck.words.errors import FaultyFiles
from benchcheck.words.meter import MeterRange, MeterSpec

BENCH = """\
[meter]
manual = true
[meter.accuracy]
ohm_percent = 0.2
ohm_counts = 3
ohm_ranges = [
    { full_scale = 500, resolution = 0.01 },
    { full_scale = 50e6, resolution = 1e4, percent = 2.0, counts = 8 },
]
four_wire_ranges = [{ full_scale = 20, resolution = 1e-6, percent = 0.02, counts = 10 }]
"""


def spec_of(text):
    return config_from_toml(text, "bench.toml").meter_spec


def test_ranges_with_percent_and_counts():
    spec = spec_of(BENCH)
    assert spec.ohm_ranges == (MeterRange(500.0, 0.01), MeterRange(50e6, 1e4, 2.0, 8.0))
    assert spec.ohm_max == 50e6  # the highest range ends there
    assert spec.four_wire  # it has ranges for it
    assert spec.meter_ohm_uncertainty(100.0) == pytest.approx(0.2 + 0.03)
    assert spec.meter_ohm_uncertainty(10e6) == pytest.approx(2e5 + 8e4)
    assert spec.four_wire_uncertainty(0.01) == pytest.approx(2e-6 + 1e-5)
    assert config_from_mapping({"meter": {"manual": True, "accuracy": {"four_wire": True}}}).meter_spec.four_wire


def test_the_simple_figures_still_do():
    spec = spec_of('[meter]\nmanual = true\n[meter.accuracy]\nohm_floor = 0.05\nvolt_floor = 0.001\nname = "mine"\n')
    assert spec.meter_ohm_uncertainty(0.0) == 0.05
    assert spec.volt_uncertainty(0.0) == 0.001
    assert (spec.name, spec.ohm_max, spec.four_wire) == ("mine", MeterSpec().ohm_max, False)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("ohm_percent", "ohm_precent", "Did you mean 'ohm_percent'?"),
        ("resolution = 0.01", "resolutoin = 0.01", "Did you mean 'resolution'?"),
        ("resolution = 0.01", "counts = 1", "resolution is missing"),
        ("full_scale = 500", "full_scale = 0", "full_scale is missing, or nothing"),
        ("resolution = 0.01", "resolution = 600", "more than the range"),
        ("{ full_scale = 500, resolution = 0.01 }", "500", "a range is"),
        ("ohm_counts = 3", "ohm_counts = -3", "at least 0"),
        ("ohm_counts = 3", "ohm_floor = 0.1", "either ohm_floor or ohm_ranges"),
        ("ohm_counts = 3", 'four_wire = "yes"', "true or false"),
        ("ohm_counts = 3", "name = 3", "must be text"),
    ],
)
def test_what_can_not_be(old, new, said):
    with pytest.raises(FaultyFiles) as caught:
        spec_of(BENCH.replace(old, new))
    assert said in str(caught.value)
