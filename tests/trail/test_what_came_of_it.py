"""What came of a kept visit: who decided, what was tried, sold and handed over, and forgetting."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest
import yaml

import recommend.catalogue.shop as shop
from recommend.errors import InputError
from recommend.output import PAGE, write_output
from recommend.records.store import EVENT, Store, ToRecord
from recommend.records.verify import said, verify
from recommend.visit.shelf import Shelf
from tests.shipped import book, run
from tests.shipped import shop as demo_shop
from tests.trail.entries import entry

TOP = Path(__file__).parents[2]
TRIALS = TOP / "catalogue_demo" / "trials"
REFERENCE = "QT-0201"


@pytest.fixture
def counter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A shop that keeps records, with one visit in its folder; its folder."""
    for name, value in {
        "STORE": tmp_path / "r.sqlite", "VISITS": tmp_path / "visits", "KEEP": "yes",
        "FITTER": "F7", "WITNESSES": tmp_path / "stick.txt", "SETTINGS": tmp_path / "none.toml",
    }.items():  # fmt: skip
        monkeypatch.setenv(f"RECOMMEND_{name}", str(value))
    monkeypatch.setattr(shop, "prepared_rulebook", lambda _folder: book())
    monkeypatch.setattr(shop, "prepared_catalogue", lambda *_: demo_shop())
    (tmp_path / "visits").mkdir()
    name = f"{REFERENCE}_2025-05-12.yaml"
    shutil.copy(TRIALS / "three-much-alike.yaml", tmp_path / "visits" / name)
    return tmp_path


def heads(folder: Path) -> list[dict[str, Any]]:
    """The heads of all records."""
    with Store(folder / "r.sqlite") as store:
        assert verify(store).sound
        return [record.head for record in store.records()]


def test_a_fitting_is_kept_from_the_list_to_the_page(
    counter: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """List, trial, decision and page are records that name each other, replay, and are forgotten.

    The witness finds an end that was cut off; forgetting removes visit and page.
    """
    learned = str(counter / "kept")
    (counter / "kept").mkdir()
    for file in ("kept-01.yaml", "kept-02.yaml"):
        shutil.copy(TRIALS / file, counter / "kept")
    (counter / "kept" / "drafts").mkdir()
    (counter / "kept" / "drafts" / "A-9.json").write_text("{}")  # no visit yet, nor in the way
    assert run("shortlist", REFERENCE, "--learned", learned) == 0
    assert "The order heeds" in capsys.readouterr().out
    assert run("trial", REFERENCE, "--no-pager") == 0
    told = ("decision=sold", "chosen-shoe=own", "departs=w", "fitter=F9")
    answers = [part for one in told for part in ("--answer", one)]
    assert run("visit", "decide", REFERENCE, *answers) == 0
    assert run("sheet", REFERENCE) == 0
    first, trial, sold, page = heads(counter)
    assert [one["heeds"] for one in (first, trial)] == [["learned", "tried"], ["tried"]]
    assert first["by"]["kept"] == "F7"
    assert len(first["program"]) == 64
    assert (sold["event"], sold["by"], sold["of"]["seq"]) == ("sold", "F9", trial["seq"])
    assert (page["kind"], page["of"]["seq"]) == (EVENT, trial["seq"])
    assert run("replay", "--all") == 0
    assert "2 replayed, 2 identical" in capsys.readouterr().out
    assert run("store", "verify") == 0
    assert run("store", "export", "--to", str(counter / "kept" / "e.jsonl")) == 0
    assert run("store", "forget", REFERENCE, "--yes") == 0
    assert "This export still holds it" in capsys.readouterr().out
    assert not list((counter / "visits").glob(f"{REFERENCE}*"))
    assert REFERENCE.encode() not in b"".join(
        file.read_bytes()
        for file in counter.rglob("*")
        if file.is_file() and "kept" not in str(file)
    )
    assert run("replay", "--all") == 0
    said = capsys.readouterr().out
    assert "2 replayed, 2 identical" in said
    assert "Forgotten since: 4 records" in said


def test_a_witness_finds_an_end_that_was_cut_off(
    counter: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A store whose last record is gone is sound in itself, and told by the file elsewhere."""
    from recommend.records.keeping import kept_in

    kept_in(counter / "r.sqlite", [entry("A-1")])
    shutil.copy(counter / "r.sqlite", counter / "before.sqlite")
    kept_in(counter / "r.sqlite", [entry("A-2")])
    assert run("store", "verify") == 0
    assert run("store", "verify", "--store", str(counter / "before.sqlite")) == 2
    assert "stick.txt:2: record 2" in capsys.readouterr().out


def test_a_witness_that_was_tampered_with_is_told(counter: Path) -> None:
    """A day's line that is not as it was written, or no day at all, is never taken for all well."""
    witness = counter / "w.txt"
    for text in ("", "a note", "2026-03-05 1 abc", f"2026-03-05 1 {'f' * 63}g", "2026-03-05"):
        witness.write_text(f"{text}\n")
        with pytest.raises(InputError, match=r"w\.txt"):
            list(said(witness))
    witness.write_text(f"From: the shop\n\n> 2026\n 2026-03-05  7 {'AB' * 32} \r\nyours\n")
    (one,) = said(witness)
    assert (one.day, one.seq, one.hash, one.place.line) == ("2026-03-05", 7, "ab" * 32, 4)


def test_the_customers_page_bears_the_last_hash_and_what_is_written_down_is_checked(
    counter: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The line printed on the page, typed with its blanks, finds an end that was cut off."""
    monkeypatch.setenv("RECOMMEND_PAGE_WITNESS", "yes")
    monkeypatch.delenv("RECOMMEND_WITNESSES")
    assert run("shortlist", REFERENCE) == 0
    shutil.copy(counter / "r.sqlite", counter / "before.sqlite")
    assert run("trial", REFERENCE, "--no-pager") == 0
    assert run("sheet", REFERENCE) == 0
    page = next((counter / "visits").glob("*.html")).read_text("utf-8")
    found = re.search(r"up to number 2 of ([\d-]{10}): ([0-9a-f ]{29})\.", page)
    assert found
    typed = counter / "typed.txt"
    typed.write_text(f"{found[1]} 2 {found[2].replace(' ', '')}\n")
    for name, code in (("r.sqlite", 0), ("before.sqlite", 2)):
        store = ("--store", str(counter / name))
        assert run("store", "verify", "--expect", found[2].upper(), *store) == code
        assert run("store", "verify", "--against", str(typed), *store) == code
    assert "typed.txt:1: record 2" in capsys.readouterr().out


@pytest.mark.skipif(
    not (find_spec("rfc3161_client") and shutil.which("openssl")),
    reason="the extra `stamp`, or openssl, which stamps here, is not installed",
)
def test_a_time_stamp_of_a_record_is_kept_and_verified(
    counter: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Openssl answers as a service of a throw-away authority; another root or text is told."""
    from recommend.records.keeping import kept_in

    kept_in(counter / "r.sqlite", [entry("A-1"), entry("A-2")])
    request, answer = counter / "last.tsq", counter / "last.tsr"
    assert run("store", "stamp", "--request", str(request)) == 0
    roots = [authority(counter, name) for name in ("ours", "other")]
    signed_by(counter, "ours", request, answer)
    assert run("store", "stamp", str(answer)) == 0
    assert "time stamp of record 2" in capsys.readouterr().out
    assert run("store", "verify") == 0
    assert "signature was not checked" in capsys.readouterr().out
    assert run("store", "verify", "--roots", str(roots[0])) == 0
    assert "Time stamp 3 of record 2 says it was there at 20" in capsys.readouterr().out
    assert run("store", "verify", "--roots", str(roots[1])) == 2
    assert "DIFFERS: Time stamp 3 of record 2" in capsys.readouterr().out
    answer.write_bytes(answer.read_bytes()[:-20])
    assert run("store", "stamp", str(answer)) == 2
    kept_in(counter / "new.sqlite", [entry("A-1")])
    signed_by(counter, "ours", request, answer)
    assert run("store", "stamp", str(answer), "--store", str(counter / "new.sqlite")) == 2
    assert "which is no record of" in capsys.readouterr().err


def test_forgetting_reaches_what_is_named_otherwise_and_nobody_elses(counter: Path) -> None:
    """A visit of any name in the folder, and what a link points to; no file of another's."""
    shelf = Shelf(counter / "visits")
    (shelf.folder / "sub").mkdir()
    own = {name: shelf.folder / name for name in ("kim.yaml", "sub/a.yml", "b.json", "link.yaml")}
    for file in own.values():
        file.write_text('{"reference": "K-1", "feet": {}}')
    behind = own["link.yaml"].rename(counter / "elsewhere.yaml")
    own["link.yaml"].symlink_to(behind)
    pages = [counter / "one.html", counter / "two.html"]
    for page in pages:
        write_output(page, "<!doctype html>", PAGE, private=True)
        shelf.remember("K-1", page)
    shelf.remember("K-2", pages[1])  # written over with another customer's page
    others = [pages[1], shelf.folder / "K-10.yaml", counter / "records.sqlite", Path(__file__)]
    others[1].write_text('{"reference": "K-10", "remarks": "K-1"}')
    others[2].write_bytes(b"SQLite format 3\0")
    for other in others[2:]:
        shelf.remember("K-1", other)  # no page or picture: nothing that was written of a customer
    assert run("store", "forget", "K-1", "--yes") == 0
    assert not [one for one in (*own.values(), behind, pages[0]) if one.is_file()]
    assert all(one.is_file() for one in others)


def authority(folder: Path, name: str) -> Path:
    """A throw-away certificate that may sign time stamps, and its key; the certificate's file."""
    openssl(
        "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", f"/CN={name}",
        "-addext", "extendedKeyUsage=critical,timeStamping", "-keyout", folder / f"{name}.key",
        "-out", folder / f"{name}.pem",
    )  # fmt: skip
    return folder / f"{name}.pem"


def signed_by(folder: Path, name: str, request: Path, answer: Path) -> None:
    """Let openssl answer a request (RFC 3161) as that authority."""
    (folder / "serial").write_text("01")
    (folder / "tsa.cnf").write_text(
        f"[tsa]\ndefault_tsa=one\n[one]\nserial={folder}/serial\nsigner_digest=sha256\n"
        "default_policy=1.2.3.4\ndigests=sha256\ness_cert_id_alg=sha256\n"
    )
    openssl(
        "ts", "-reply", "-config", folder / "tsa.cnf", "-queryfile", request, "-inkey",
        folder / f"{name}.key", "-signer", folder / f"{name}.pem", "-out", answer,
    )  # fmt: skip


def openssl(*words: object) -> None:
    """Run openssl, which knows nothing of this program."""
    subprocess.run(["openssl", *map(str, words)], check=True, capture_output=True)


def test_a_clock_that_went_back_is_told(path: Path) -> None:
    """A record that says it was made before the one it follows is named, and the chain is sound."""
    with Store(path, write=True) as store:
        for when in ("2026-03-02T10:00:00+01:00", "2026-03-01T10:00:00+01:00"):
            plain = entry()
            store.append(ToRecord(plain.documents, plain.facts, made_at=when))
        verdict = verify(store)
        assert verdict.sound
        assert verdict.behind == (2,)
        assert json.loads(store.record(2).text)["clock"] == "behind"


def test_a_stop_that_was_read_out_is_kept_with_who_said_it(counter: Path) -> None:
    """After a stop nothing is handed over; that it was read out, and by whom, is a record."""
    file = counter / "visits" / "QB-0108_2025-03-13.yaml"
    shutil.copy(TOP / "catalogue_demo" / "visits" / "red-flag-stop.yaml", file)
    answers = ("--answer", "read-out=yes", "--answer", "fitter=F9")
    assert run("visit", "decide", "QB-0108", *answers) == 0
    visit, said = heads(counter)
    assert visit["summary"]["stopped"]
    assert (said["event"], said["by"], said["of"]["seq"]) == ("read-out", "F9", 1)
    stops = {rule for rule, level in visit["summary"]["notes"].items() if level == "stop"}
    written = yaml.safe_load(file.read_text("utf-8"))["decision"]
    assert stops <= set(written["read-out"])
    assert written["outcome"] == "nothing"
