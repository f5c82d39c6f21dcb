"""The command line as a person meets it: quick help, one sentence for whatever is wrong."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from posescore.resources import shipped

HEAVY = ("cv2", "mediapipe", "sklearn", "sqlalchemy", "numpy", "av")
LOG = {
    "rules": "sport-jiu-jitsu",
    "division": {"age": "adult", "belt": "blue"},
    "holds": [
        {"start_s": 0, "end_s": 20, "position": "standing"},
        {"start_s": 22, "end_s": 31, "position": "side_control", "upper": "A"},
    ],
    "events": [{"time_s": 20.5, "event": "takedown_attempt", "athlete": "A"}],
}


def run(*arguments: str | Path, library: Path | None = None) -> subprocess.CompletedProcess[str]:
    environment = dict(os.environ)
    if library is not None:
        environment["POSESCORE_LIBRARY"] = str(library)
    return subprocess.run(
        [sys.executable, "-m", "posescore", *map(str, arguments)],
        capture_output=True,
        text=True,
        env=environment,
        timeout=120,
        check=False,
    )


def assert_one_sentence(done: subprocess.CompletedProcess[str], code: int, *names: str) -> None:
    message = done.stderr.strip()
    assert done.returncode == code, message
    assert message.startswith("posescore: ")
    assert len(message.splitlines()) == 1, message
    assert "Traceback" not in message
    for name in names:
        assert name in message


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys; sys.argv=['posescore','--help']\n"
        "import posescore.cli.main\n"
        "try: posescore.cli.main.main()\n"
        "except SystemExit: pass\n"
        f"heavy=[m for m in {HEAVY!r} if m in sys.modules]; assert not heavy, heavy"
    )
    subprocess.run([sys.executable, "-c", code], check=True, stdout=subprocess.DEVNULL)


def test_score_prints_json(tmp_path: Path) -> None:
    log = tmp_path / "log.json"
    log.write_text(json.dumps(LOG))
    done = run("score", log, "--json")
    assert done.returncode == 0, done.stderr
    ruling = json.loads(done.stdout)
    first = ruling["proposals"][0]
    # Takedown, 2 points, three seconds after the landing: article 4.1 and 3.1.
    assert (first["kind"], first["points"], first["athlete"]) == ("takedown", 2, "A")
    assert first["time_s"] == pytest.approx(25.0)
    assert ruling["score"]["A"] == {"points": 2, "advantages": 0, "penalties": 0}


@pytest.mark.parametrize(
    ("content", "field"),
    [
        ("", "log.json"),
        ("{", "log.json"),
        ("[]", "log.json"),
        (json.dumps(LOG | {"rules": "no-such-rules"}), "no-such-rules"),
        (json.dumps(LOG | {"holds": [{"start_s": 3, "end_s": 1, "position": "mount"}]}), "holds"),
    ],
)
def test_a_broken_log_is_one_sentence(tmp_path: Path, content: str, field: str) -> None:
    log = tmp_path / "log.json"
    log.write_text(content)
    assert_one_sentence(run("score", log), 2, field)


@pytest.fixture
def bad_footage(tmp_path: Path) -> dict[str, Path]:
    import av

    whole = shipped("sample_video", "match.mp4").read_bytes()
    files = {name: tmp_path / name for name in ("empty.mp4", "text.mp4", "cut.mp4", "sound.mp4")}
    files["empty.mp4"].write_bytes(b"")
    files["text.mp4"].write_text("not a video")
    files["cut.mp4"].write_bytes(whole[:3000])
    with av.open(str(files["sound.mp4"]), "w") as out:
        stream = out.add_stream("aac", rate=16000, layout="mono")
        frame = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), "fltp", "mono")
        frame.sample_rate = 16000
        out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return files | {"missing.mp4": tmp_path / "missing.mp4", "a folder": tmp_path}


@pytest.mark.parametrize(
    "name", ["empty.mp4", "text.mp4", "cut.mp4", "sound.mp4", "missing.mp4", "a folder"]
)
def test_footage_that_cannot_be_used_is_one_sentence(
    bad_footage: dict[str, Path], tmp_path: Path, name: str
) -> None:
    library = tmp_path / "library"
    done = run("analyze", bad_footage[name], library=library)
    assert_one_sentence(done, 2, str(bad_footage[name]))
    assert not list((library / "matches").glob("*")) if (library / "matches").exists() else True


@pytest.mark.skipif(os.name == "nt", reason="Ctrl-C is sent in another way there")
def test_a_stopped_analysis_keeps_what_it_found_and_says_so(tmp_path: Path) -> None:
    from posescore.library.library import Library

    library = tmp_path / "library"
    video = shipped("sample_video", "match.mp4")
    command = [sys.executable, "-m", "posescore", "analyze", str(video), "--library", str(library)]
    with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as analysing:
        begun: list[Path] = []
        while analysing.poll() is None and not any(p.stat().st_size > 9999 for p in begun):
            time.sleep(0.1)
            begun = list(library.glob("poses/*/*.begun"))
        analysing.send_signal(signal.SIGINT)
        _, told = analysing.communicate(timeout=240)
    assert analysing.returncode == 130
    assert told.strip().splitlines()[-1] == (
        "posescore: stopped; what was found so far is kept; the same command goes on from there."
    )
    assert "Traceback" not in told
    assert "Aborted" not in told
    assert begun[0].stat().st_size > 9999
    kept = Library(library)
    (match,) = kept.matches()
    assert match.analysis_version is None
    assert [job.state for job in kept.jobs(match.id)] == ["cancelled"]


def test_a_file_where_the_library_should_be_is_one_sentence(tmp_path: Path) -> None:
    in_the_way = tmp_path / "library"
    in_the_way.write_text("a file, not a folder")
    done = run("export", "1", "--format", "csv", library=in_the_way)
    assert_one_sentence(done, 2, str(in_the_way))


@pytest.mark.skipif(os.name == "nt", reason="names hold no line breaks there")
def test_a_name_with_a_line_break_stays_in_one_sentence(tmp_path: Path) -> None:
    odd = tmp_path / "final\n\x1b[2Jround.mp4"
    assert_one_sentence(run("analyze", odd, library=tmp_path / "new"), 2, "round.mp4")
    odd.write_bytes(b"")
    done = run("analyze", odd, library=tmp_path / "new")
    assert_one_sentence(done, 2, "round.mp4")
    assert "\x1b" not in done.stderr


def test_an_unknown_match_is_one_sentence(tmp_path: Path) -> None:
    assert_one_sentence(run("export", "7", "--format", "csv", library=tmp_path / "new"), 2, "7")


def test_positions_of_every_frame_as_one_reviewer_has_them(tmp_path: Path) -> None:
    from posescore.library.library import Library
    from posescore.library.review.edits import NameStretch
    from posescore.terms import Athlete, Position
    from tests.library.samples import INFO, analysis

    with Library(tmp_path / "library") as library:
        match = library.add_match(INFO)
        library.save_analysis(match.id, analysis())
        named = NameStretch(0.0, 5.0, Position.TURTLE, Athlete.B)
        library.edit(match.id, named, "Una", "Una")
    asked = ("export", "1", "--format", "frames-csv")
    shared = run(*asked, library=tmp_path / "library").stdout.splitlines()
    own = run(*asked, "--opinion", "Una", library=tmp_path / "library").stdout.splitlines()
    assert len(own) == len(shared)
    assert shared[1].split(",")[2:] != own[1].split(",")[2:]
    assert own[1].split(",")[2:] == ["turtle", "B", "1.000", "person"]
    assert own[-1] == shared[-1]
    nobody = run(*asked, "--opinion", "Ida", library=tmp_path / "library")
    assert_one_sentence(nobody, 2, "'Ida'", "'Una'")


def test_classify_answers_every_picture_in_order() -> None:
    done = run("classify", shipped("sample_video", "keypoints.json"), "--json")
    assert done.returncode == 0, done.stderr
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    truth = json.loads(shipped("sample_video", "truth.json").read_text("utf-8"))
    assert [line["frame"] for line in lines] == list(range(truth["n_frames"]))
    for line in lines:
        assert set(line) == {"frame", "time_s", "position", "upper", "probabilities"}
        assert sum(line["probabilities"].values()) == pytest.approx(1.0, abs=1e-3)
        assert line["upper"] in ("A", "B", None)


def test_common_practice_is_printed_in_words(tmp_path: Path) -> None:
    # A pass straight into mount is called as pass and mount by common practice (4.2, 4.4.1).
    log = tmp_path / "log.json"
    log.write_text(
        json.dumps(
            {
                "rules": "sport-jiu-jitsu",
                "holds": [
                    {"start_s": 0, "end_s": 10, "position": "half_guard", "upper": "A"},
                    {"start_s": 10, "end_s": 20, "position": "mount", "upper": "A"},
                ],
            }
        )
    )
    done = run("score", log)
    assert done.returncode == 0, done.stderr
    assert "4.2, common practice" in done.stdout
