"""Several daemons of each role, killed at random under load: nothing is lost or doubled, the Assessments are one's."""

from __future__ import annotations

from postgresql import server
from several_scene import play


def test_three_of_each_role_killed_at_random_come_to_what_one_comes_to(tmp_path):
    with server() as postgresql:
        assert play(tmp_path, postgresql, lots=8, seed=20260105) == []
