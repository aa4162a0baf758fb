"""Codes of plugs and colonies: eight characters that cannot be guessed in sequence and that catch a slip of the pen.

Seven characters are drawn at random from 29 that do not look alike; the eighth is the check character of
ISO/IEC 7064 MOD 37,36, which catches every single wrong character and every swap of two neighbours. The scheme's check
character may be any of 0-9 A-Z, so draws whose check character is a look-alike are thrown away.
"""

import re
import secrets

from stdnum.iso7064 import mod_37_36

from propagation.errors import CodeMistyped

ALPHABET = "23456789ABCDEFGHJKMNPQRSTWXYZ"  # no 0/O, 1/I/L, U/V
LENGTH = 8
PATTERN = re.compile(f"[{ALPHABET}]{{{LENGTH}}}")


def new_code() -> str:
    """Return a fresh code, e.g. ``K7M42QXP``; about 1.4 × 10¹⁰ are possible."""
    while True:
        body = "".join(secrets.choice(ALPHABET) for _ in range(LENGTH - 1))
        check = mod_37_36.calc_check_digit(body)
        if check in ALPHABET:
            return body + check


def in_clear(code: str) -> str:
    """Return the code as it is printed: ``K7M4-2QXP``."""
    return f"{code[:4]}-{code[4:]}"


def strip_code(text: str) -> str:
    """Return what was typed without the spaces and dashes people put into a code, in upper case."""
    return re.sub(r"[\s\-‐‑–—_.]", "", text).upper()


def looks_like_code(text: str) -> bool:
    """Is this as long as a code and made of letters and digits? It may still be mistyped."""
    bare = strip_code(text)
    return len(bare) == LENGTH and bare.isascii() and bare.isalnum()


def read_code(text: str) -> str:
    """Return the bare code in what was typed or scanned.

    Raises CodeMistyped if the length, a character or the check character is wrong.
    """
    bare = strip_code(text)
    if not PATTERN.fullmatch(bare) or not mod_37_36.is_valid(bare):
        raise CodeMistyped(text.strip())
    return bare
