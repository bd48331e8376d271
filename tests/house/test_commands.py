"""What the commands say to a mistake: what, where, what to do, and the documented exit code; never a traceback."""

from __future__ import annotations

import json
import threading
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest

from house.rows import climb
from support.daemon import command, write

KITCHEN = '[kitchen]\nname = "K"\nzone = "UTC"\n'


@pytest.mark.parametrize("number", [99_999, -1])
def test_a_port_that_can_not_be_is_no_other_port(tmp_path, number):
    file = write(tmp_path / "kitchen.toml", KITCHEN)
    refused = command("run", "--kitchen", file, "--data", tmp_path / "data", "--port", number)
    assert refused.returncode == 2
    assert "--port" in refused.stderr


def test_a_data_folder_that_can_not_be_made(tmp_path):
    file = write(tmp_path / "kitchen.toml", KITCHEN)
    in_the_way = write(tmp_path / "file", "")
    refused = command("run", "--kitchen", file, "--data", in_the_way / "data")
    assert refused.returncode == 5
    assert f"the data folder {in_the_way}/data can't be used" in refused.stderr
    assert "choose another folder with --data" in refused.stderr


def test_export_of_a_batch_that_never_was(tmp_path):
    file = write(tmp_path / "n.csv", "time_ms,probe,celsius\n" + climb("pan", 20.0, 0.1, 3))
    assert command("replay", file, "--data", tmp_path / "out").returncode == 0
    refused = command("export", "--data", tmp_path / "out", "--batch", "custard-9")
    assert refused.returncode == 1
    assert refused.stderr == 'There is no batch "custard-9". The last ones: none.\n'
    assert refused.stdout == ""


def test_what_a_command_says_is_one_line_for_whoever_reads_it_by_a_program(tmp_path):
    file = write(tmp_path / "n.csv", "time_ms,probe,celsius\n" + climb("pan", 20.0, 0.1, 3))
    told = command("replay", file, "--data", tmp_path / "out", COLUMNS="40").stdout
    assert told.count("\n") == 1
    assert told.startswith("3 readings stored in ")


def test_a_contact_file_that_names_no_address(tmp_path):
    write(tmp_path / "daemon.json", '{"address": "kitchen", "token": "x"}')
    refused = command("batch", "list", "--data", tmp_path)
    assert refused.returncode == 4
    assert "The daemon at kitchen doesn't answer" in refused.stderr
    assert "Traceback" not in refused.stderr


def test_an_empty_note(tmp_path):
    refused = command("batch", "note", "custard-1", " ", "--data", tmp_path)
    assert refused.returncode == 1
    assert refused.stderr.startswith("The note is empty.")


LONG = "toasted-barley-custard-with-plum-and-buttermilk-117"


class _Now(BaseHTTPRequestHandler):
    def do_GET(self):
        lane = dict.fromkeys(("name", "shown", "target_shown", "outlook"), "a longer text than fits here")
        alarm = dict.fromkeys(
            ("priority", "phase", "where", "what", "since_shown"), "a longer text than fits"
        )
        page = {"batches": [{"id": LONG, "name": "Custard", "lot": "L-1", "stages": [lane]}],
                "alarms": [{"key": f"station/{LONG}/ceiling", **alarm}]}  # fmt: skip
        self.send_response(200)
        self.end_headers()
        self.wfile.write(json.dumps(page).encode())

    def log_message(self, *_):
        """Keep quiet."""


def test_ids_are_shown_whole_on_a_narrow_screen_because_they_are_typed_again(tmp_path):
    with HTTPServer(("127.0.0.1", 0), _Now) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        address = f"http://127.0.0.1:{server.server_port}"
        write(tmp_path / "daemon.json", json.dumps({"address": address, "token": "x"}))
        batches = command("batch", "list", "--data", tmp_path, COLUMNS="60")
        alarms = command("alarms", "list", "--data", tmp_path, COLUMNS="60")
        server.shutdown()
        thread.join()
    assert LONG in batches.stdout
    assert f"station/{LONG}/ceiling" in alarms.stdout
