"""Turns reviews and decisions of persons into signed steps of a batch, or into a sentence that says why not.

``received → under review → released | on hold | rejected → withdrawn``; a batch on hold may go back to review. Review
and release take two different people. What is recommended to be rejected cannot be released: new results, or nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, select

from wqcheck.errors import RecordRefusedError
from wqcheck.records.log import Writing, writing
from wqcheck.records.parts import overdue_panels
from wqcheck.records.roles import Act, Role, require
from wqcheck.records.schema import Decisions, Overrides, Signatures, log, table_of
from wqcheck.records.standing import CheckRow, Standing, State, known_batch, latest_check, standing, step
from wqcheck.records.store import Store
from wqcheck.release.decision import Disposition

STEPS = {
    State.RECEIVED: (State.UNDER_REVIEW,),
    State.UNDER_REVIEW: (State.RELEASED, State.ON_HOLD, State.REJECTED),
    State.ON_HOLD: (State.UNDER_REVIEW, State.WITHDRAWN),
    State.RELEASED: (State.WITHDRAWN,),
    State.REJECTED: (State.WITHDRAWN,),
    State.WITHDRAWN: (),
}
"""Where a batch may go from each state; taking in new results brings one that is not decided back to *received*."""

MEANINGS = {
    State.UNDER_REVIEW: "reviewed",
    State.RELEASED: "released",
    State.ON_HOLD: "put on hold",
    State.REJECTED: "rejected",
    State.WITHDRAWN: "withdrawn",
}
"""What a signature under each step says."""

_ROLES = {
    State.UNDER_REVIEW: (Role.REVIEWER,),
    State.ON_HOLD: (Role.RELEASER, Role.REVIEWER),
    State.RELEASED: (Role.RELEASER,),
    State.REJECTED: (Role.RELEASER,),
    State.WITHDRAWN: (Role.RELEASER,),
}
_VERBS = {
    State.UNDER_REVIEW: "review",
    State.ON_HOLD: "hold",
    State.RELEASED: "release",
    State.REJECTED: "reject",
    State.WITHDRAWN: "withdraw",
}
_NEEDS_REASON = (State.ON_HOLD, State.REJECTED, State.WITHDRAWN)


@dataclass(frozen=True, slots=True)
class Turn:
    """Where a batch stands when a person acts on it: its step and its latest check."""

    batch: str
    now: Standing
    check: CheckRow


def review(store: Store, batch: str, act: Act, *, seen: int | None = None) -> int:
    """Sign the review of the latest check of a batch; the arguments are as for :func:`decide`."""
    return decide(store, batch, act, State.UNDER_REVIEW, seen=seen)


def decide(store: Store, batch: str, act: Act, to: State, *, override: bool = False, seen: int | None = None) -> int:
    """Bring a batch to another state, signed by the person who acts.

    Parameters
    ----------
    store : Store
    batch : str
        Batch number; case does not matter.
    act : Act
        Who, when and why; a hold, a rejection and an override need the reason.
    to : State
        The state it goes to; ``WITHDRAWN`` goes through :func:`wqcheck.records.certificates.withdraw`.
    override : bool
        Release against a recommended hold; the reason is printed on the certificate.
    seen : int, optional
        Version of the check that the person has looked at; a newer one refuses the step.

    Returns
    -------
    int
        The number of the step.

    Raises
    ------
    RecordRefusedError
        It is not their turn, not allowed to them, or something is missing; the sentence says which.
    """
    if to not in _VERBS or to is State.WITHDRAWN:
        raise RecordRefusedError(f"a batch is not decided to be {to}; take it in, or withdraw it")
    with writing(store, act, _VERBS[to], f"batch {batch.strip()}") as work:
        turn = take_turn(work, batch, to)
        if seen is not None and seen != turn.check.version:
            raise RecordRefusedError(
                f"batch {turn.batch} has a newer check ({turn.check.version}) than the one you looked at ({seen}); "
                "look at it again"
            )
        if to is State.RELEASED:
            _may_release(work, turn, override=override)
        return sign(work, turn, to, override=override)


def take_turn(work: Writing, batch: str, to: State) -> Turn:
    """Return where a batch stands, if the person may bring it to a state now.

    Raises
    ------
    RecordRefusedError
        The batch is unknown or elsewhere, the person has not the role, or gives no reason where one is needed.
    """
    require(work.act, _ROLES[to], f"{_VERBS[to]} a batch")
    known = known_batch(work.connection, batch)
    now, check = standing(work.connection, known), latest_check(work.connection, known)
    if now is None or check is None:
        raise RecordRefusedError(f"batch {known} has no check yet; take it in first")
    if to not in STEPS[now.state]:
        allowed = ", ".join(f"{_VERBS[state]}" for state in STEPS[now.state]) or "nothing more"
        raise RecordRefusedError(f"batch {known} is {now.state} and cannot be {MEANINGS[to]}; possible now: {allowed}")
    if to in _NEEDS_REASON and not work.act.why.strip():
        raise RecordRefusedError(f"a batch is {MEANINGS[to]} only with a written reason; give it (--why)")
    return Turn(known, now, check)


def sign(work: Writing, turn: Turn, to: State, *, override: bool = False) -> int:
    """Record the step, the signature under it and, where there is one, the override; return the number of the step."""
    version = step(work, turn.batch, to, turn.check.version, reason=work.act.why, override=override)
    signed = work.connection.execute(select(log.c.hash).where(log.c.seq == turn.check.entry)).scalar_one()
    work.add(
        table_of(Signatures), batch=turn.batch, decision_version=version, person=work.act.by.person,
        name=work.act.by.name, meaning=MEANINGS[to], signed_hash=signed,
    )  # fmt: skip
    if override:
        work.add(
            table_of(Overrides), batch=turn.batch, check_version=turn.check.version,
            recommended=turn.check.disposition, decided=str(to), reason=work.act.why.strip(),
        )  # fmt: skip
    return version


def reviewer_of(connection: Connection, batch: str, check_version: int) -> str | None:
    """Return who signed the latest review of a check, by their short name."""
    table = table_of(Decisions)
    found = select(table.c.person).where(
        table.c.batch == batch, table.c.check_version == check_version, table.c.state == str(State.UNDER_REVIEW)
    )
    return connection.execute(found.order_by(table.c.version.desc()).limit(1)).scalar()


def _may_release(work: Writing, turn: Turn, *, override: bool) -> None:
    """Refuse a release that the rules of the records do not allow."""
    by, batch, advice = work.act.by, turn.batch, turn.check.disposition
    if reviewer_of(work.connection, batch, turn.check.version) == by.person:
        raise RecordRefusedError(f"{by.name} has reviewed batch {batch}; review and release take two different people")
    if advice == Disposition.REJECT:
        raise RecordRefusedError(
            f"batch {batch} is recommended to be rejected; no reason can release it, only results that take its place"
        )
    if advice == Disposition.HOLD and not override:
        raise RecordRefusedError(
            f"batch {batch} is recommended to be held; settle what holds it, or release it against that advice with "
            "a written reason (--override --why), which the certificate prints"
        )
    if override and advice == Disposition.RELEASE:
        raise RecordRefusedError(f"batch {batch} is recommended for release; there is nothing to override")
    if override and not work.act.why.strip():
        raise RecordRefusedError("an override takes a written reason (--why), which the certificate prints")
    late = overdue_panels(work.connection, batch, work.act.at.date())
    if late:
        raise RecordRefusedError(f"batch {batch} rests on panels that are out of date: {'; '.join(late)}; renew them")
