"""The check character against published examples of ISO/IEC 7064 MOD 37,36."""

from stdnum.iso7064 import mod_37_36

from propagation import codes


def test_the_example_of_the_grid_standard():
    """A12425GABC1234002 carries M (IFPI GRid standard's example, as in python-stdnum's documentation)."""
    assert mod_37_36.calc_check_digit("A12425GABC1234002") == "M"


def test_codes_follow_the_scheme_computed_by_hand():
    """ISO/IEC 7064 hybrid system: p = M; per character p = ((p + a) mod M or M)·2 mod (M+1); check = (1 − p) mod M.

    Written out here from the standard's formula (from memory), apart from the library that makes the codes.
    """
    characters = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    for _ in range(200):
        code = codes.new_code()
        p = 36
        for character in code[:-1]:
            p = ((p + characters.index(character)) % 36 or 36) * 2 % 37
        assert code[-1] == characters[(1 - p) % 36]
