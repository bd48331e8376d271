"""A probe calibrated and plunged from the terminal, against a real daemon, a real broker and a real clock."""

from __future__ import annotations

import json
import math
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from concurrent.futures import ThreadPoolExecutor

import pytest

from support.bath import Bath, BenchKitchen
from support.daemon import Daemon, command
from support.mosquitto import Broker


@pytest.fixture
def bench(tmp_path):
    with Broker(tmp_path) as broker, Bath(broker.port) as bath:
        kitchen = BenchKitchen(tmp_path, broker)
        with Daemon(kitchen.port, *kitchen.run) as daemon:
            daemon.until(
                "the broker is there", lambda p: p["sources"][0]["health"] == "normal", "/api/probes"
            )
            yield daemon, bath, kitchen


def post(daemon, path, body, page=True):
    headers = {"Content-Type": "application/json", **({"X-Rimekeeper-Page": "1"} if page else {})}
    request = urllib.request.Request(daemon.address + path, json.dumps(body).encode(), headers)
    try:
        with urllib.request.urlopen(request, timeout=10) as answer:
            return answer.status, json.load(answer)
    except urllib.error.HTTPError as fault:
        with fault:
            return fault.code, json.load(fault)


def begin(daemon, probe):
    status, answer = post(
        daemon, "/api/commands", {"command": "begin-test", "probe": probe, "why": "calibration"}
    )
    assert status == 200, answer


def held(daemon, bath, probe, celsius):
    bath.held(probe, celsius)
    return daemon.until(
        f"{probe} is steady at {celsius}",
        lambda view: view["steady"] and abs(view["mean"] - celsius) < 0.05,
        f"/api/probes/{probe}/steadiness?seconds=90",
    )


def stretch(view):
    return {"since": view["since"], "until": view["until"]}


def test_points_are_taken_from_what_is_stored_and_kept_as_a_record(bench):
    daemon, bath, _ = bench
    begin(daemon, "dip")
    view = held(daemon, bath, "dip", 0.31)
    point = {"method": "ice point", **stretch(view)}
    status, shown = post(daemon, "/api/probes/dip/calibration", {"points": [point]})
    assert (status, shown["kept"]) == (200, False)
    (found,) = shown["preview"]["points"]
    assert (found["reference_shown"], found["as_found_shown"], found["as_left_shown"]) == (
        "0.00 °C",
        "+0.31 °C",
        "0.00 °C",
    )
    assert daemon.get("/api/probes/dip")["history"] == []

    status, kept = post(
        daemon,
        "/api/probes/dip/calibration",
        {"points": [point], "note": "first ice", "keep": True, "who": "Ada"},
    )
    assert status == 200, kept
    assert "found +0.31 K off at worst" in kept["sentence"]
    known = daemon.get("/api/probes/dip")
    assert known["measured"]["calibration"]["state"] == "calibrated"
    assert known["measured"]["calibration"]["by"] == "Ada"
    assert [one["kind"] for one in known["history"]] == ["calibration"]
    # Later readings are corrected; what the bench is told is still what the probe shows.
    time.sleep(1.1)
    bath.held("dip", 0.31, seconds=0, wobble=0.0)
    later = daemon.until(
        "a corrected reading",
        lambda view: view["measured"]["corrected_shown"] == "0.00 °C",
        "/api/probes/dip",
    )
    assert later["measured"]["uncorrected_shown"] == "0.31 °C"
    assert daemon.get("/api/probes/dip/steadiness?seconds=2")["last_shown"] == "0.31 °C"
    with urllib.request.urlopen(f"{daemon.address}/certificates/{kept['number']}", timeout=5) as page:
        text = page.read().decode()
    for words in (
        "Calibration record",
        "Dipping probe",
        "+0.31 °C",
        "first ice",
        "not a certificate of an accredited",
    ):
        assert words in text


def test_what_is_absurd_or_not_steady_is_refused_in_a_sentence(bench):
    daemon, bath, _ = bench
    begin(daemon, "dip")
    far = held(daemon, bath, "dip", 21.4)
    status, answer = post(
        daemon,
        "/api/probes/dip/calibration",
        {"points": [{"method": "ice point", **stretch(far)}], "keep": True},
    )
    assert status == 409
    assert "off by +21.40 K" in answer["sentence"]
    short = {"method": "ice point", "since": far["until"] - 20_000, "until": far["until"]}
    status, answer = post(daemon, "/api/probes/dip/calibration", {"points": [short]})
    assert status == 409
    assert "Hold it still: 20 s of 60 s" in answer["sentence"]
    assert daemon.get("/api/probes/dip")["history"] == []


def test_a_plunge_is_fitted_shown_and_kept(bench):
    daemon, bath, _ = bench
    begin(daemon, "dip")
    bath.plunged("dip", 0.0, 60.0, 4.0)
    view = daemon.until(
        "the plunge", lambda v: len(v["times"]) > 170, "/api/probes/dip/steadiness?seconds=120"
    )
    body = {"since": view["times"][0], "until": view["times"][-1], "medium": "stirred water"}
    status, shown = post(daemon, "/api/probes/dip/plunge", body)
    assert status == 200, shown
    assert shown["preview"]["seconds"] == pytest.approx(4.0, abs=0.1)
    assert len(shown["preview"]["fitted"]) == len(shown["preview"]["times"])
    status, kept = post(daemon, "/api/probes/dip/plunge", {**body, "keep": True})
    assert status == 200
    assert "time constant of 4.0 s" in kept["sentence"]
    assert daemon.get("/api/probes/dip")["measured"]["lag"]["known"]


def test_the_terminal_calibrates_and_plunges_by_the_clock(bench):
    daemon, bath, kitchen = bench
    bath.go_on("ice", lambda _: 0.2)
    bath.go_on("plunger", lambda s: 20.0 if s < 12 else 60.0 - 40.0 * math.exp(-(s - 12) / 3.0))
    daemon.until("both speak", lambda p: sum(q["fresh"] for q in p["probes"]) == 2)
    with ThreadPoolExecutor(3) as pool:
        calibrated = pool.submit(
            command,
            "calibrate",
            "ice",
            "--ice",
            "--yes",
            "--within",
            "3",
            "--who",
            "Bo",
            "--data",
            kitchen.data,
            timeout=150,
        )
        plunged = pool.submit(
            command, "plunge", "plunger", "--yes", "--within", "3", "--data", kitchen.data, timeout=150
        )
        interrupted = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "rimekeeper",
                "calibrate",
                "dip",
                "--ice",
                "--yes",
                "--data",
                str(kitchen.data),
            ],
            stdout=subprocess.PIPE,
            text=True,
        )
        daemon.until("the third test", lambda v: v["under_test"], "/api/probes/dip/steadiness")
        interrupted.send_signal(signal.SIGINT)
        said, _ = interrupted.communicate(timeout=20)
        assert interrupted.returncode == 130
        assert "The test of probe Dipping probe is over" in said
        assert not daemon.get("/api/probes/dip/steadiness")["under_test"]
    done, fitted = calibrated.result(), plunged.result()
    assert done.returncode == 0, done.stderr + done.stdout
    assert "Steady: mean 0.20 °C" in done.stdout
    assert "found +0.20 K off at worst" in done.stdout
    assert "its readings count again" in done.stdout
    assert fitted.returncode == 0, fitted.stderr + fitted.stdout
    assert daemon.get("/api/probes/plunger")["measured"]["lag"]["seconds"] == pytest.approx(3.0, abs=0.3)
    listed = command("calibrate", "--data", kitchen.data)
    assert "calibrated, No. " in listed.stdout
    assert "not calibrated" in listed.stdout


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("calibrate", "dip", "--yes"), 2, "Say which points"),
        (("calibrate", "dip", "--reference", "82 C", "--yes"), 2, "needs its --reference-uncertainty"),
        (("calibrate", "dip", "--reference", "82", "--reference-uncertainty", "0.1 K", "--yes"), 2, "is not a temperature"),
        (("calibrate", "dip", "--boiling-kpa", "9", "--yes"), 2, "no air pressure of a kitchen"),
        (("calibrate", "dip", "--boiling-kpa", "100", "--altitude", "50", "--yes"), 2, "not both"),
        (("calibrate", "dip", "--ice", "--yes"), 4, "No Rimekeeper is running"),
        (("plunge", "dip"), 4, "No Rimekeeper is running"),
    ],
)  # fmt: skip
def test_what_a_person_gets_wrong(tmp_path, arguments, code, words):
    refused = command(*arguments, "--data", tmp_path)
    assert refused.returncode == code
    assert words in refused.stderr
    assert "Traceback" not in refused.stderr
