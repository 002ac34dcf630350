"""A whole number no reader takes: TOML 1.0.0 asks for 64 bits, 19 digits."""

import pytest

from medalcore import SpecError, parse_spec


def test_a_number_of_thousands_of_digits_is_told_with_its_line():
    for digits in ("9" * 5000, "-" + "1_0" * 2500):
        with pytest.raises(SpecError) as caught:
            parse_spec(f"[medal]\n[blank]\ndiameter = {digits}\n", file="a.toml")
        told = str(caught.value)
        assert "a whole number has thousands of digits (at line 3)" in told
        assert "sys." not in told
