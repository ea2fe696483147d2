"""Tubes that stand off farther than wanted for too long."""

from collections.abc import Iterable

from geometry.checks.finding import Finding
from geometry.checks.profile import Profile
from geometry.layout import Layout


def findings(layout: Layout, profiles: dict[int, Profile], tubes: Iterable[int]) -> tuple[Finding, ...]:
    return ()
