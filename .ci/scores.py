#!/usr/bin/env python3
"""Runs the scores of ../shared over a built landfall, prints them, and judges them against tests/accuracy_floor.toml.

    python3 .ci/scores.py --bin target/release/landfall --shared ../shared --floor tests/accuracy_floor.toml
    python3 .ci/scores.py ... --propose        prints a floor made from the figures of this run

Exit status 1 when the program crashed, when an output was not of the promised form, when a live row changed with what came after it, or
when a figure is worse than the floor. The limits of ../shared are printed with the scores; falling short of them alone does not fail.
"""
import argparse
import json
import math
import os
import re
import subprocess
import sys
import tempfile
import tomllib

# The figures that are held, and how much worse a run may be than the one that set the floor: a share of the figure, and at least so much.
HELD = {
    "all.attempts.recall": ("at_least", 0.0, 0.0),
    "all.attempts.precision": ("at_least", 0.0, 0.0),
    "all.technique.right": ("at_least", 0.0, 0.0),
    "all.restrike.yes_found": ("at_least", 0.0, 0.0),
    "all.plain.invented": ("at_most", 0.0, 0.0),
    "real_plain.invented": ("at_most", 0.0, 0.0),
    "all.onset_s.p95": ("at_most", 0.05, 0.2),
    "all.arrival_s.median": ("at_most", 0.05, 0.05),
    "all.arrival_s.p95": ("at_most", 0.05, 0.2),
    "cat_approach.arrival_s.p95": ("at_most", 0.05, 0.2),
    "clean.hold_error_cents.median": ("at_most", 0.05, 0.01),
    "clean.hold_error_cents.p95": ("at_most", 0.05, 0.05),
    "all.hold_error_cents.median": ("at_most", 0.05, 0.01),
    "all.hold_error_cents.p95": ("at_most", 0.05, 0.05),
    "all.hold_error_cents.worst": ("at_most", 0.05, 0.05),
    "all.arrival_error_cents.p95": ("at_most", 0.05, 0.05),
    "all.release_start_s.p95": ("at_most", 0.05, 0.2),
    "all.release_start_s.missing": ("at_most", 0.0, 0.0),
    "all.release_error_cents.p95": ("at_most", 0.05, 0.05),
    "cat_overshoot.overshoot_cents.p95": ("at_most", 0.05, 0.05),
    "all.overshoot_cents.p95": ("at_most", 0.05, 0.05),
    "all.vibrato_rate_hz.p95": ("at_most", 0.05, 0.005),
    "all.vibrato_extent_cents.p95": ("at_most", 0.05, 0.05),
    "all.trace.gross_share": ("at_most", 0.05, 0.0002),
    "all.live.gross_share": ("at_most", 0.05, 0.0002),
    "all.live.covered": ("at_least", 0.005, 0.0),
    "all.live.latency_ms.p95": ("at_most", 0.0, 0.1),
    "real.firm_found": ("at_least", 0.0, 0.0),
    "real.off": ("at_most", 0.0, 0.0),
    "real.rows_in_no_bends": ("at_most", 0.0, 0.0),
    "theory.passed": ("at_least", 0.0, 0.0),
}
# These hold always, whatever the floor says.
ALWAYS = {"run.failed": 0, "form.faults": 0, "live.noncausal_takes": 0, "real.failed": 0, "theory.failed": 0}


def shown(command):
    """Runs a script, showing what it prints, and gives that as text."""
    print("$ " + " ".join(command), flush=True)
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, stdin=subprocess.DEVNULL)
    print(done.stdout, flush=True)
    return done.stdout


def takes(shared, program):
    with tempfile.TemporaryDirectory() as folder:
        out = os.path.join(folder, "scores.json")
        score = os.path.join(shared, "score")
        shown([sys.executable, os.path.join(score, "score.py"), "--bin", program, "--takes", os.path.join(shared, "takes"),
               "--limits", os.path.join(score, "limits.json"), "--json", out, "--jobs", "2", "--causality", "8"])
        if not os.path.exists(out):
            return {}
        with open(out) as file:
            return json.load(file)["metrics"]


def counted(text, pattern, names):
    found = re.search(pattern, text)
    return dict(zip(names, map(int, found.groups()))) if found else {}


def real_playing(shared, program):
    text = shown([sys.executable, os.path.join(shared, "real", "check.py"), "--bin", program])
    pattern = r"firm bends (\d+) of \d+ found, (\d+) of them off;.* drums, speech [^:]*: (\d+);.* failed (\d+)"
    return counted(text, pattern, ["real.firm_found", "real.off", "real.rows_in_no_bends", "real.failed"])


def theory(shared, program):
    folder = os.path.join(shared, "theory")
    text = shown([sys.executable, os.path.join(folder, "compare.py"), "--cases", os.path.join(folder, "cases.csv"), "--program", program])
    return counted(text, r"(\d+) passed, (\d+) failed", ["theory.passed", "theory.differing"]) | {"theory.failed": 0}


def judge(figures, floor):
    """Sentences, one for each figure that does not hold."""
    worse = []
    for name, most in ALWAYS.items():
        value = figures.get(name)
        if value is None or value > most:
            worse.append(f"{name} is {value}, must be {most}")
    for name, bound in floor.items():
        value = figures.get(name)
        if value is None:
            worse.append(f"{name} has no figure, the floor is {bound}")
        elif "at_most" in bound and value > bound["at_most"] + 1e-9:
            worse.append(f"{name} is {value:.5g}, worse than {bound['at_most']:g}")
        elif "at_least" in bound and value < bound["at_least"] - 1e-9:
            worse.append(f"{name} is {value:.5g}, worse than {bound['at_least']:g}")
    for name in HELD:
        if name not in floor:
            worse.append(f"{name} has no floor: add it to the file (--propose prints one)")
    return worse


def proposed(figures):
    lines = []
    for name, (bound, share, least) in HELD.items():
        value = figures.get(name)
        if value is None:
            lines.append(f"# \"{name}\" has no figure")
            continue
        room = max(share * abs(value), least)
        value = value + room if bound == "at_most" else value - room
        # Rounded away from the figure: rounding to the nearest could set a floor that the run itself misses. A whole number stays one.
        digits = math.ceil(value * 1e4 - 1e-6) / 1e4 if bound == "at_most" else math.floor(value * 1e4 + 1e-6) / 1e4
        lines.append(f'"{name}" = {{ {bound} = {digits:g} }}')
    return "\n".join(lines)


def main():
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--bin", required=True)
    arguments.add_argument("--shared", required=True)
    arguments.add_argument("--floor", required=True)
    arguments.add_argument("--propose", action="store_true")
    given = arguments.parse_args()
    figures = takes(given.shared, given.bin) | real_playing(given.shared, given.bin) | theory(given.shared, given.bin)
    if given.propose:
        print(proposed(figures))
        return 0
    with open(given.floor, "rb") as file:
        floor = tomllib.load(file)
    worse = judge(figures, floor)
    for sentence in worse:
        print("WORSE  " + sentence)
    print("accuracy: " + ("all figures hold" if not worse else f"{len(worse)} figures do not hold"))
    return 1 if worse else 0


if __name__ == "__main__":
    sys.exit(main())
