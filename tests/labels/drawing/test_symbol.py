"""The symbol of a label is the one the standard asks for, drawn without gaps or overlaps."""

import re

import numpy as np
import pytest
import qrcode
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from qrcode.util import lost_point

from labels.drawing.errors import AddressTooLong
from labels.drawing.symbol import (
    QUIET_MODULES,
    SymbolSize,
    make_symbols,
    mask_penalties,
    module_mm,
    module_warning,
    svg_path,
    symbol_path,
    symbol_size,
)

ADDRESS = "HTTPS://RAMET.EXAMPLE/Q/K7M42QXP"


def read(modules):
    """What a decoder other than the one that drew it reads in a symbol."""
    image = np.kron(~np.pad(modules, QUIET_MODULES), np.ones((4, 4))).astype(np.uint8) * 255
    return [found.text for found in zxingcpp.read_barcodes(image)]


def test_error_correction_is_the_strongest_that_does_not_enlarge_the_symbol():
    # 32 characters: 2-M holds 38 and 2-Q 29 (ISO/IEC 18004 Table 7, see tests/published/test_qr_capacity.py).
    assert symbol_size(ADDRESS) == SymbolSize(version=2, level="M")
    assert symbol_size(ADDRESS[:29]) == SymbolSize(version=2, level="Q")
    assert symbol_size(ADDRESS + "A" * 15) == SymbolSize(version=2, level="L")


def test_upper_case_makes_a_smaller_symbol_than_lower_case():
    assert symbol_size(ADDRESS).version < symbol_size(ADDRESS.lower() + "0").version


def test_an_address_longer_than_any_symbol_is_refused():
    with pytest.raises(AddressTooLong, match="no QR holds that"):
        symbol_size("A" * 5000)


@given(st.text(alphabet="ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789:/.-abcdé", min_size=1, max_size=150))
@settings(max_examples=25, deadline=None)
def test_every_symbol_reads_back(address):
    (modules,) = make_symbols([address])
    assert modules.shape == (symbol_size(address).modules,) * 2
    assert read(modules) == [address]


def test_addresses_of_different_lengths_keep_their_order():
    addresses = [ADDRESS, "HTTPS://REEF.TEST/" + "A" * 60, ADDRESS[:-1] + "R", "SHORT"] * 40
    assert [read(modules)[0] for modules in make_symbols(addresses)] == addresses


def test_penalty_points_equal_those_of_another_implementation():
    """The qrcode package counts N1 to N4 of ISO/IEC 18004 §7.8.3.1 module by module."""
    chance = np.random.default_rng(7)
    for side in (21, 25, 33, 61):
        noise = chance.random((side, side)) < chance.uniform(0.2, 0.8)
        assert mask_penalties(noise) == lost_point(noise.tolist())
    (symbol,) = make_symbols([ADDRESS])
    assert mask_penalties(symbol) == lost_point(symbol.tolist())


@pytest.mark.parametrize("address", [ADDRESS, "HTTPS://A-LONG-NAME.EXAMPLE/" + "X" * 600], ids=["small", "large"])
def test_the_mask_is_the_one_with_fewest_penalty_points(address):
    """ISO/IEC 18004 §7.8.3: of the eight masks the one with the lowest penalty is taken."""
    (symbol,) = make_symbols([address])
    size = symbol_size(address)
    points = []
    for mask in range(8):
        maker = qrcode.QRCode(
            version=size.version,
            error_correction=getattr(qrcode.constants, f"ERROR_CORRECT_{size.level}"),
            border=0,
            mask_pattern=mask,
        )
        maker.add_data(address, optimize=0)
        maker.make(fit=False)
        points.append(lost_point(maker.modules))
    assert lost_point(symbol.tolist()) == min(points)


def test_the_path_covers_each_dark_module_once_and_no_light_one():
    for modules in make_symbols([ADDRESS, "HTTPS://REEF.TEST/" + "B" * 90]):
        path = symbol_path(modules)
        drawn = np.zeros(modules.shape, dtype=int)
        for column, row, width, height in re.findall(r"(\d+) (\d+) (\d+) (\d+) re", path):
            drawn[int(row) : int(row) + int(height), int(column) : int(column) + int(width)] += 1
        assert (drawn == modules).all()
        assert path.count("f") == 1


def test_a_path_of_an_svg_covers_the_same_modules():
    for modules in make_symbols([ADDRESS, "https://reef.test/p/" + "b" * 32 + "/"]):
        path = svg_path(modules)
        drawn = np.zeros(modules.shape, dtype=int)
        for column, row, width, height, back in re.findall(r"M(\d+) (\d+)h(\d+)v(\d+)h-(\d+)z", path):
            drawn[int(row) : int(row) + int(height), int(column) : int(column) + int(width)] += 1
            assert back == width
        assert (drawn == modules).all()
        assert not re.sub(r"M\d+ \d+h\d+v\d+h-\d+z", "", path), "nothing else is in it"


def test_modules_are_whole_dots():
    assert module_mm(2, 203) == pytest.approx(0.2502, abs=1e-4)
    assert module_mm(3, 300) == pytest.approx(0.254)


def test_a_module_too_small_for_a_phone_is_warned_of_with_a_way_out():
    assert module_warning(module_mm(2, 203), "Roll, 12 × 12 mm") is None
    sentence = module_warning(module_mm(2, 300), "Roll, 12 × 12 mm")
    assert "0.17 mm" in sentence
    assert "larger label" in sentence
    assert "shorter base address" in sentence
