"""A battery's thirst."""

from __future__ import annotations

import pytest

from logbook.trade.battery import thirstier, water_lost_g


def test_a_set_that_drinks_half_as_much_again_is_named() -> None:
    assert thirstier(2_000, 3_100)
    assert not thirstier(2_000, 3_000)


def test_a_sip_more_is_not() -> None:
    assert not thirstier(200, 400)


def test_nothing_is_said_of_a_set_of_which_nothing_was_known() -> None:
    assert not thirstier(0, 5_000)


def test_overcharge_splits_water_as_faraday_says() -> None:
    # Faraday's law: 0.33609 g per Ah per cell; 20 Ah over 12 cells, 80.66 g (computed with CODATA constants).
    # Trade leaflets say "1 g per 3 Ah" for one cell.
    assert water_lost_g(1, 1) == pytest.approx(0.33609, abs=5e-5)
    assert water_lost_g(20, 12) == pytest.approx(80.66, abs=0.01)
    assert water_lost_g(3, 1) == pytest.approx(1, abs=0.01)
