"""The forms: what is wrong stands beside its field with what was typed; what was stored is said in words."""

import io
from typing import Any

import pytest
from fastapi.testclient import TestClient
from hypothesis import given
from hypothesis import strategies as st

from api.pages.uploads import MOST_BYTES, pack, unpack
from api.schemas.told import KINDS
from api.store.readings import count_readings
from api.store.tanks import load_tank
from api.wiring import Services

CSV = b"Zeit;Stand\n2026-01-08 06:00;64,5\n2026-01-09 06:00;63,5\n2026-01-09 07:00;voll\n"
LAYOUT = {
    "time_column": "zeit",
    "level_column": "stand",
    "unit": "dip_cm",
    "decimal": ",",
    "zone": "Europe/Berlin",
}


def _post(client: TestClient, tank: str, kind: str, **fields: str) -> Any:
    return client.post(f"/tanks/{tank}/tell/{kind}", data=fields)


def _stored(services: Services, tank_id: str) -> int:
    with services.store.read() as session:
        return count_readings(session, load_tank(session, tank_id).id)


def test_every_kind_has_its_form(client: TestClient, tank_id: str) -> None:
    """The list leads to each form, and each form asks for each of its members, with a label.

    Whether one has looked again is asked only where something did not fit.
    """
    listed = client.get(f"/tanks/{tank_id}/tell")
    assert listed.status_code == 200
    for key, kind in KINDS.items():
        assert f'href="/tanks/{tank_id}/tell/{key}"' in listed.text
        form = client.get(f"/tanks/{tank_id}/tell/{key}").text
        for member in kind.members:
            asked = member.name != "fits_anyway"
            assert (f'name="{member.name}"' in form) == asked
            assert (member.label in form) == asked
    assert client.get(f"/tanks/{tank_id}/tell/nothing").status_code == 404


def test_a_dip_is_stored_and_said_back(client: TestClient, services: Services, tank_id: str) -> None:
    """After saving, the page says what was stored and asks nothing: there is no form on it."""
    answer = _post(client, tank_id, "dips", dip="25 3/8", unit="in", who="household", at="")
    assert answer.status_code == 200
    assert "Stored: 645 mm of oil in Byre" in answer.text
    assert "<form" not in answer.text
    assert _stored(services, tank_id) == 1


def test_what_is_wrong_stands_beside_its_field_with_what_was_typed(
    client: TestClient, services: Services, tank_id: str
) -> None:
    """The page names each field with its mend, at the top and beside it; nothing typed is lost."""
    answer = _post(
        client, tank_id, "dips", dip='1,250" onfocus="x', unit="in", who="carer", at="2026-01-11T08:00"
    )
    assert answer.status_code == 422
    assert 'aria-describedby="dip-hint dip-mend" aria-invalid="true"' in answer.text
    assert '<a href="#at">When: give a time that has been</a>' in answer.text
    assert 'value="1,250&#34; onfocus=&#34;x"' in answer.text
    assert 'value="2026-01-11T08:00"' in answer.text
    assert 'value="carer" checked' in answer.text
    assert _stored(services, tank_id) == 0


def test_a_conflict_keeps_the_form(client: TestClient, tank_id: str) -> None:
    """The first value stays; the person sees the form again with what was typed."""
    assert _post(client, tank_id, "dips", dip="640", at="2026-01-09T08:00").status_code == 200
    answer = _post(client, tank_id, "dips", dip="650", at="2026-01-09T08:00")
    assert answer.status_code == 409
    assert "the first stays" in answer.text
    assert 'value="650"' in answer.text


def test_a_form_of_another_site_is_refused_i3(client: TestClient, services: Services, tank_id: str) -> None:
    """Another site's page cannot store anything in somebody's browser."""
    headers = {"Sec-Fetch-Site": "cross-site", "Origin": "https://elsewhere.example"}
    answer = client.post(f"/tanks/{tank_id}/tell/dips", data={"dip": "640"}, headers=headers)
    assert answer.status_code == 403
    assert _stored(services, tank_id) == 0


def _file(client: TestClient, tank: str, data: bytes | None = None, **fields: str) -> Any:
    files = {"file": ("levels.csv", io.BytesIO(data if data is not None else b""), "text/csv")}
    return client.post(f"/tanks/{tank}/readings-file", data=fields, files=files)


def _kept(text: str) -> str:
    return text.split('name="kept" value="')[1].split('"')[0]


def test_a_file_of_any_layout_is_looked_at_then_stored(
    client: TestClient, services: Services, tank_id: str
) -> None:
    """Columns are asked for, rows shown with problems in words, all is stored; the same again stores nothing."""
    first = _file(client, tank_id, CSV, do="look")
    assert first.status_code == 422
    assert '<option value="stand">stand</option>' in first.text
    shown = _file(client, tank_id, kept=_kept(first.text), do="look", **LAYOUT)
    assert shown.status_code == 200
    assert "645 mm of oil" in shown.text
    assert "Store 2 readings" in shown.text
    assert "row 4, stand: give a number" in shown.text
    assert _stored(services, tank_id) == 0
    for said in ("2 new readings", "2 readings known before"):
        done = _file(client, tank_id, kept=_kept(shown.text), do="store", **LAYOUT)
        assert f"{said}. 1 row was set aside." in done.text
    assert _stored(services, tank_id) == 2


@pytest.mark.parametrize(
    ("data", "status"),
    [
        (None, 422),
        (b"\xff\xfe\x00", 422),
        (b"PK\x03\x04zip", 422),
        (b"at,dip_mm\n", 422),
        (b"<html><script>alert(1)</script>", 422),
        (b"x" * (MOST_BYTES + 1), 413),
    ],
    ids=["none", "F10-bytes", "F12-zip", "F1-no-rows", "F13-html", "F10-large"],
)
def test_what_is_no_file_of_readings_is_refused(
    client: TestClient, services: Services, tank_id: str, data: bytes | None, status: int
) -> None:
    """Nothing is stored, and nothing of the file is obeyed."""
    answer = _file(client, tank_id, data, do="store")
    assert answer.status_code == status
    assert "<script>" not in answer.text
    assert _stored(services, tank_id) == 0


def test_a_bomb_is_not_unpacked(client: TestClient, tank_id: str) -> None:
    """A packed file that grows beyond what may be sent is taken for none (F10)."""
    bomb = pack(b"0" * (MOST_BYTES + 1))
    assert bomb is not None
    assert unpack(bomb) is None
    assert _file(client, tank_id, kept=bomb, do="store").status_code == 422


def test_only_a_form_with_a_file_is_taken(client: TestClient, tank_id: str) -> None:
    """Other content types, broken parts and many fields are refused plainly."""
    there = f"/tanks/{tank_id}/readings-file"
    assert client.post(there, data={"do": "look"}).status_code == 415
    broken = {"Content-Type": "multipart/form-data; boundary=x"}
    assert client.post(there, content=b"--x\r\nnonsense", headers=broken).status_code in (400, 422)
    assert (
        client.post(there, content=b"x", headers={"Content-Type": "multipart/form-data"}).status_code == 400
    )
    many = {f"f{i}": "x" for i in range(30)}
    assert _file(client, tank_id, b"x", **many).status_code == 400


@given(st.binary(max_size=300))
def test_what_is_packed_is_unpacked(data: bytes) -> None:
    """A file comes out of a form as it went in."""
    packed = pack(data)
    assert packed is not None
    assert unpack(packed) == data


@given(st.text(max_size=60))
def test_any_text_is_a_file_or_none(text: str) -> None:
    """Whatever stands in the hidden field is a file or none."""
    assert isinstance(unpack(text), bytes | None)


def test_looking_again_is_asked_once_something_does_not_fit(client: TestClient, tank_id: str) -> None:
    """A ticket of more than the tank holds is not taken at first: the form then asks whether one has looked again."""
    _post(client, tank_id, "dips", dip="900", unit="mm", who="household", at="2026-01-09T08:00")
    answer = _post(client, tank_id, "deliveries", litres="1900", at="2026-01-09T10:00", filled="unknown")
    assert answer.status_code == 422
    assert 'name="fits_anyway"' in answer.text
