"""Lines of drawn text: where they may end."""

from __future__ import annotations

import pytest

from raycover.draw.page import Page


@pytest.mark.parametrize("n_lines", [2, 6])
def test_no_line_ends_between_a_number_and_its_unit(n_lines: int) -> None:
    text = "Seen 98 %, < 1 % doubtful, margin −3.4 dB; after 12 m and 5 s, within ±10 % of 2.5 m, 20 °C."
    letters = Page(dpi=100).lettering
    whole = letters.extent(text, "sans", 9.0).width
    for part in range(10, 60):
        lines = letters.wrap(text, "sans", 9.0, whole * max(part / 60, 0.55 if n_lines == 2 else 0), n_lines)
        for line in lines:
            assert not line.endswith(("98", "1", "3.4", "12", "5", "10", "2.5", "20", "<")), lines
