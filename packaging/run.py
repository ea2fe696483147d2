#!/usr/bin/env python3
"""Prepare everything and start Outrib on the sample job, or on another: python3 packaging/run.py [JOB]

Without a screen it does the main job on the sample: it checks it and writes the packet for the shop.
Arguments go to Outrib as they are: python3 packaging/run.py check JOB
"""

import os
import shutil
import subprocess
import sys

import environment

SAMPLE = environment.REPO / "assets" / "sample.outrib"
PACKET = environment.REPO / "build" / "packet"
FINDINGS_STAND = 1


def run():
    has_window = has_screen()
    python = environment.prepare(needs_screen_libraries=has_window)
    if has_window or sys.argv[1:]:
        environment.say("Starting Outrib")
        return outrib(python, *(sys.argv[1:] or [str(SAMPLE)]))
    environment.say("There is no screen here: doing the main job on the sample without a window")
    return main_job(python)


def has_screen():
    if not sys.platform.startswith("linux"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def main_job(python):
    """Check the sample, then write its packet; findings that stand are no failure here."""
    environment.say(f"Checking {environment.shown([str(SAMPLE)])}")
    status = outrib(python, "check", str(SAMPLE))
    if status not in (0, FINDINGS_STAND):
        return status
    environment.say("Writing the packet")
    shutil.rmtree(PACKET, ignore_errors=True)
    status = outrib(python, "schedule", str(SAMPLE), "-o", str(PACKET))
    if not (PACKET / "schedule.json").is_file():  # Python itself also ends with 1 when it cannot start
        return status or 3
    environment.say(f"The packet lies in {PACKET}")
    return 0


def outrib(python, *arguments):
    """Run Outrib and return its exit status; -P: a folder named app where we stand is not ours."""
    command = [str(python), "-P", "-X", "faulthandler", "-m", "app", *arguments]
    return subprocess.call(command, env=environment.environment())


if __name__ == "__main__":
    sys.exit(environment.main(run))
