"""The page records, reviews, decides and certifies a batch through the store, and refuses in clear words."""

from __future__ import annotations

import hashlib
import io
import sqlite3
import zipfile
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from wqcheck.page.decision import reason_lines
from wqcheck.page.issued_papers import ISSUE_KEY
from wqcheck.page.main import VIEW_KEY
from wqcheck.page.office import PERSON_KEY
from wqcheck.page.recording import RECORD_KEY, why_again_key
from wqcheck.page.release_view import SIGN_KEY, step_key
from wqcheck.page.sheets_brought import KEEP_KEY, UPLOAD_KEY, WAITING_KEY
from wqcheck.page.start_view import SAMPLE_BUTTON
from wqcheck.records.certificates import document_file, documents
from wqcheck.records.received import received_file
from wqcheck.records.standing import State
from wqcheck.records.store import open_store
from wqcheck.records.verify import verify
from wqcheck.release.reasons import Disposition, Reason

SAMPLES = Path(__file__).parent.parent / "sample_results"


def script(*arguments: str) -> None:
    from wqcheck.page.main import main

    main(arguments)


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path / "records.sqlite"


def opened(place: Path, *more: str) -> AppTest:
    """Open the page on a store of its own."""
    arguments: Any = (f"--store={place}", *more)
    return AppTest.from_function(script, args=arguments, default_timeout=120).run()


def words_on(page: AppTest) -> str:
    assert not page.exception, page.exception
    kinds = (page.markdown, page.caption, page.success, page.warning, page.error, page.info)
    return "\n".join(element.value for kind in kinds for element in kind).replace("\\", "")


def recorded(place: Path) -> AppTest:
    """Record the sample plant from the empty start."""
    page = opened(place)
    page.button(key=SAMPLE_BUTTON).click().run()
    page.text_input(key=PERSON_KEY).set_value("A. Reviewer").run()
    page.radio(key=VIEW_KEY).set_value("Release").run()
    return page.button(key=RECORD_KEY).click().run()


def signed(page: AppTest, state: State) -> AppTest:
    """Ask for a step and sign it."""
    page.button(key=step_key(state)).click().run()
    return page.button(key=SIGN_KEY).click().run()


def test_batch_goes_from_empty_start_to_certificate_of_two_persons(place: Path) -> None:
    """The same person may not review and release; another one may, and the recorded PDF is offered and sound."""
    page = recorded(place)
    assert "is recorded (check 1)" in words_on(page)
    signed(page, State.UNDER_REVIEW)
    signed(page, State.RELEASED)
    assert "review and release take two different people" in words_on(page)
    page.text_input(key=PERSON_KEY).set_value("B. Releaser").run()
    assert "you sign as **B. Releaser**" in words_on(page)
    page.button(key=SIGN_KEY).click().run()
    page.button(key=ISSUE_KEY).click().run()
    assert "is issued" in words_on(page)
    store = open_store(place, create=False)
    number = str(documents(store, "B2107")["number"].iloc[0])
    assert document_file(store, number, "pdf").startswith(b"%PDF")
    assert not verify(store).found
    store.close()
    assert len(page.get("download_button")) == 3


def test_start_lists_what_waits(place: Path) -> None:
    """A recorded batch waits for its review, and its button opens the decision."""
    recorded(place)
    page = opened(place)
    assert "To review" in words_on(page)
    page.button(key="open To review B2107").click().run()
    assert "Stands: received" in words_on(page)


def test_hold_without_reason_is_refused(place: Path) -> None:
    page = recorded(place)
    signed(page, State.UNDER_REVIEW)
    signed(page, State.ON_HOLD)
    said = words_on(page)
    assert "only with a written reason" in said
    assert "--why" not in said
    drawn = list(page.main)
    refused = next(
        at for at, one in enumerate(drawn) if one.type == "error" and "written reason" in str(getattr(one, "value", ""))
    )
    pressed = next(at for at, one in enumerate(drawn) if one.type == "button" and one.key == SIGN_KEY)
    assert refused > pressed, "it stands below the button that was pressed"
    assert "In hand: **B2107: reviewed, to decide**" in said


def test_reasons_of_one_parameter_stand_together_and_none_is_lost() -> None:
    """Every sentence and cell is there; what to do is written once, and one sentence of several cells once."""
    asks = "ask the laboratory, or repeat the test"
    reasons = [
        Reason(disposition=Disposition.HOLD, code="undetermined", message=message, where=where, parameter=code)
        for message, where, code in [
            (f"lead: reported <10 is not decided; {asks}", "a|S!A1", "lead"),
            (f"turbidity: 4 NTU is not decided; {asks}", "a|S!A2", "turbidity"),
            (f"turbidity: 5 NTU is not decided; {asks}", "a|S!A2", "turbidity"),
            (f"turbidity: 5 NTU is not decided; {asks}", "a|S!A3", "turbidity"),
            ("a sheet has no name; name it", "", ""),
            ("a sheet has no day; date it", "", ""),
        ]
    ]
    assert [line.replace("\\", "") for line in reason_lines(reasons)] == [
        f"- Lead: reported <10 is not decided; {asks} — *a|S!A1*",
        f"- **Turbidity** (3): {asks}",
        "  - 4 NTU is not decided — *a|S!A2*",
        "  - 5 NTU is not decided — *a|S!A2; a|S!A3*",
        "- A sheet has no name; name it",
        "- A sheet has no day; date it",
    ]


def test_file_that_is_no_store_is_said(place: Path) -> None:
    place.write_bytes(b"this is a text, not a database of any kind" * 40)
    assert "is no record store" in words_on(opened(place))


def test_second_tab_cannot_sign_what_the_first_has_moved(place: Path) -> None:
    """Both tabs show a batch to review; the one that comes second is told where the batch is now."""
    first = recorded(place)
    second = opened(place)
    second.text_input(key=PERSON_KEY).set_value("B. Reviewer").run()
    second.radio(key=VIEW_KEY).set_value("Release").run()
    second.button(key=step_key(State.UNDER_REVIEW)).click().run()
    signed(first, State.UNDER_REVIEW)
    second.button(key=SIGN_KEY).click().run()
    assert "is under review and cannot be reviewed" in words_on(second)
    with sqlite3.connect(place) as connection:
        assert connection.execute("select count(*) from decisions where state = 'under review'").fetchone() == (1,)


def test_sheets_kept_in_the_records_outlive_the_tab(place: Path) -> None:
    """Sheets on the desk are gone with their tab; those kept in the records another one takes in and records."""
    first = opened(place)
    first.radio(key=VIEW_KEY).set_value("Take in").run()
    sheet = ("run.xlsx", (SAMPLES / "run_B2107_clean.xlsx").read_bytes(), "application/octet-stream")
    first.file_uploader(key=UPLOAD_KEY).set_value([sheet]).run()
    assert "after a reload they are gone" in words_on(first)
    first.button(key=KEEP_KEY).click().run()
    assert "nobody is named as the one who acts" in words_on(first)
    first.text_input(key=PERSON_KEY).set_value("A. Analyst").run()
    first.button(key=KEEP_KEY).click().run()
    assert "1 of 1 sheet(s) were new and are kept" in words_on(first)

    second = opened(place)
    assert "Sheets that no check has used" in words_on(second)
    second.radio(key=VIEW_KEY).set_value("Take in").run()
    assert "RELEASE" not in words_on(second)
    waiting = second.multiselect(key=WAITING_KEY)
    waiting.set_value([hashlib.sha256(sheet[1]).hexdigest()]).run()
    assert "RELEASE: batch B2107" in words_on(second)
    second.text_input(key=PERSON_KEY).set_value("A. Analyst").run()
    second.button(key=RECORD_KEY).click().run()
    assert "Batch B2107 is recorded" in words_on(second)
    assert [box.key for box in second.multiselect if box.key == WAITING_KEY] == []


def test_zipped_folder_is_recorded_with_the_bytes_of_its_workbooks(place: Path) -> None:
    """The store keeps the folder as received and the workbook in it, so that the check can be made again."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.write(SAMPLES / "run_B2107_clean.xlsx", "inner/run.xlsx")
    page = opened(place)
    page.radio(key=VIEW_KEY).set_value("Take in").run()
    page.file_uploader(key=UPLOAD_KEY).set_value([("folder.zip", packed.getvalue(), "application/zip")]).run()
    page.text_input(key=PERSON_KEY).set_value("A. Analyst").run()
    page.button(key=RECORD_KEY).click().run()
    assert "Batch B2107 is recorded" in words_on(page)
    store = open_store(place, create=False)
    name, content = received_file(store, hashlib.sha256((SAMPLES / "run_B2107_clean.xlsx").read_bytes()).hexdigest())
    assert (name, content[:2]) == ("folder.zip/inner/run.xlsx", b"PK")
    store.close()


def test_recording_again_asks_for_a_reason_and_keeps_both_checks(place: Path) -> None:
    """The same batch from another tab is not recorded again without a reason."""
    recorded(place)
    page = opened(place)
    page.radio(key=VIEW_KEY).set_value("Take in").run()
    sheet = ("run.xlsx", (SAMPLES / "run_B2107_clean.xlsx").read_bytes(), "application/octet-stream")
    page.file_uploader(key=UPLOAD_KEY).set_value([sheet]).run()
    page.text_input(key=PERSON_KEY).set_value("A. Analyst").run()
    page.button(key=RECORD_KEY).click().run()
    assert "give the reason" in words_on(page)
    page.text_input(key=why_again_key("B2107")).set_value("checked with other tables").run()
    page.button(key=RECORD_KEY).click().run()
    assert "is recorded (check 2)" in words_on(page)
