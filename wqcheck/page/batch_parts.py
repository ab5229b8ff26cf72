"""Turns what belongs to a recorded batch beside its results, parts, samples and remarks, into lists and fields."""

from __future__ import annotations

from datetime import date
from functools import partial

import pandas as pd
import streamlit as st

from wqcheck.errors import RecordRefusedError
from wqcheck.page.office import Office, do, draw_refusal
from wqcheck.page.shown import moment
from wqcheck.page.spoken import later, say
from wqcheck.page.words import plain
from wqcheck.records.batches import BatchRecord
from wqcheck.records.parts import LinkedSample, Part, RetainedSample, SampleRole, SubLot, attach, remark

KIND_KEY, PART_KEY, REMARK_KEY = "kind of part", "keep the part", "keep the remark on the batch"
SUB_LOT, RETAINED, LINKED = later("part of the batch"), later("retained sample"), later("sample that answers for it")
_KINDS = {SubLot: SUB_LOT, RetainedSample: RETAINED, LinkedSample: LINKED}


def field_key(batch: str, name: str) -> str:
    """Give the key of a field; each batch has its own, so that nothing typed for one shows for another."""
    return f"part {name} of {batch}"


def draw_parts(office: Office, record: BatchRecord) -> None:
    """Draw parts and samples of a batch, and the fields for one more and for a remark."""
    number = len(record.parts)
    with st.expander(say("Parts of the batch, retained and linked samples ({number}), remark", number=number)):
        if record.parts:
            st.table(pd.DataFrame(map(_told, record.parts)).map(plain), hide_index=True)
        _draw_part(office, record.standing.batch)
        _draw_remark(office, record.standing.batch)


def _told(part: Part) -> dict[str, str]:
    """Write one part in words."""
    if isinstance(part, SubLot):
        what, until = ", ".join(filter(None, (part.containers, part.volume, part.note))), None
    elif isinstance(part, RetainedSample):
        what, until = f"{part.quantity}, {part.kept_at}", part.keep_until
    else:
        what, until = ", ".join(filter(None, (say(str(part.role)), part.origin))), part.valid_until
    kind = say(_KINDS[type(part)])
    return {say("Kind"): kind, say("Code"): part.code, say("What"): what, say("Until"): moment(until)}


def _draw_part(office: Office, batch: str) -> None:
    """Draw the fields of one part; which there are goes by its kind."""
    kind = st.radio(
        say("Record"), list(_KINDS.values()), horizontal=True, format_func=say, key=field_key(batch, KIND_KEY)
    )
    names = {
        SUB_LOT: {"code": say("Code"), "containers": say("Containers"), "volume": say("Volume"), "note": say("Note")},
        RETAINED: {"code": say("Code"), "quantity": say("What is kept"), "kept_at": say("Where")},
        LINKED: {"code": say("Code"), "origin": say("Workbook or batch of its results")},
    }[kind]
    for place, (name, label) in zip(st.columns(len(names)), names.items(), strict=True):
        place.text_input(label, key=field_key(batch, name))
    if kind == LINKED:
        st.selectbox(say("What it is"), list(SampleRole), format_func=say, key=field_key(batch, "role"))
    if kind != SUB_LOT:
        st.date_input(say("Until"), value=None, key=field_key(batch, "until"))
    st.button(say("Record it"), key=PART_KEY, on_click=do, args=(partial(_attach, office, batch, kind), PART_KEY))
    draw_refusal(PART_KEY)


def _attach(office: Office, batch: str, kind: str) -> str:
    part = _part(batch, kind)
    attach(office.store(), batch, office.act(), [part])
    return say("{code} is recorded with batch {batch}.", code=plain(part.code), batch=plain(batch))


def _part(batch: str, kind: str) -> Part:
    """Make the part of what was typed."""
    fields = ("code", "containers", "volume", "note", "quantity", "kept_at", "origin")
    typed = {name: str(st.session_state.get(field_key(batch, name)) or "").strip() for name in fields}
    until: date | None = st.session_state.get(field_key(batch, "until"))
    if kind == SUB_LOT:
        return SubLot(**{name: typed[name] for name in ("code", "containers", "volume", "note")})
    if kind == LINKED:
        role = SampleRole(st.session_state[field_key(batch, "role")])
        return LinkedSample(code=typed["code"], role=role, origin=typed["origin"], valid_until=until)
    if until is None or not typed["quantity"] or not typed["kept_at"]:
        raise RecordRefusedError("a retained sample needs what is kept, where, and until which day; give all three")
    return RetainedSample(code=typed["code"], quantity=typed["quantity"], kept_at=typed["kept_at"], keep_until=until)


def _draw_remark(office: Office, batch: str) -> None:
    st.text_area(say("Remark on the batch"), key=field_key(batch, "remark"), height=68)
    st.button(say("Keep the remark"), key=REMARK_KEY, on_click=do, args=(partial(_remark, office, batch), REMARK_KEY))
    draw_refusal(REMARK_KEY)


def _remark(office: Office, batch: str) -> str:
    key = field_key(batch, "remark")
    remark(office.store(), batch, office.act(), str(st.session_state.get(key) or ""))
    st.session_state[key] = ""
    return say("The remark is kept with batch {batch}.", batch=plain(batch))
