"""Turns a case into the list of stages to look at, the gravest and best supported first, each with its reasons."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from wqcheck.train import suspects_fit, suspects_lab, suspects_plant
from wqcheck.train.suspects import Case, Suspect

Rule = Callable[[Case], Iterator[Suspect]]

RULES: tuple[Rule, ...] = (
    suspects_lab.mixed_up_samples,
    suspects_lab.chlorine_at_membranes,
    suspects_lab.weak_lamp,
    suspects_lab.leaking_membranes,
    suspects_lab.growth_in_tanks,
    suspects_lab.spent_carbon,
    suspects_lab.other_weak_stages,
    suspects_plant.antiscalant_off,
    suspects_plant.odd_vessel,
    suspects_plant.spent_cartridges,
    suspects_plant.cleaning_due,
    lambda case: suspects_plant.worn_out(case, suspects_plant.sampled_on(case)),
    suspects_fit.narrow_stages,
    suspects_fit.failing_tanks,
)
"""Rules in no order that matters; add one here, with a test of a train that shows it and of one that does not."""


def look_here_first(case: Case) -> tuple[Suspect, ...]:
    """Return every suspicion, ordered by :class:`~wqcheck.train.suspects.Grade`, then weight, then order of flow.

    Nothing is hidden: an empty list says that no rule found anything, not that nothing is wrong.
    """
    place = {stage.name: number for number, stage in enumerate(case.train.stages)}
    found = [suspect for rule in RULES for suspect in rule(case)]
    return tuple(sorted(found, key=lambda one: (one.grade, -one.weight, place.get(one.stage, len(place)))))
