"""Reports whose steps ran on a cluster against reports made here, byte for byte.

check.py WHEREWORN WHEREWORN-NODE STUDY: one scheduler, two executors of one core each, as processes on loopback; the study
through a folder that all see, through a bucket behind an S3-speaking server (moto, from PyPI), and with an executor that is
killed while it runs. Ends with status 1 where a table differs or a step does not come to its end.
"""

import filecmp
import os
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

MONTH = ["--as-of", "2026-11-01T00:00:00Z"]


def fail(words):
    sys.exit(f"cluster: {words}")


def free_port():
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


class Processes:
    """What runs beside a report, ended with it."""

    def __init__(self, node, folder):
        self.node, self.folder, self.all = node, folder, []

    def start(self, name, command, **more):
        log = open(self.folder / f"{name}.log", "w")
        process = subprocess.Popen(command, stdout=log, stderr=log, **more)
        self.all.append(process)
        return process

    def listens(self, port):
        for _ in range(300):
            with socket.socket() as one:
                if one.connect_ex(("127.0.0.1", port)) == 0:
                    return
            time.sleep(0.1)
        fail(f"nothing listens on {port}: {[log.read_text() for log in self.folder.glob('*.log')]}")

    def cluster(self, environment):
        port = free_port()
        self.start("scheduler", [self.node, "scheduler", "--listen", f"127.0.0.1:{port}"], env=environment)
        self.listens(port)
        executors = []
        for number in (1, 2):
            own = free_port()
            command = [self.node, "executor", "--at", f"127.0.0.1:{port}", "--listen", f"127.0.0.1:{own}", "--cores", "1"]
            executors.append(self.start(f"executor{number}", command, env=environment))
            self.listens(own)
        return f"127.0.0.1:{port}", executors

    def end(self):
        for process in self.all:
            process.kill()
            process.wait()


def report(whereworn, study, out, *more, beside=None, environment=None):
    """Runs a report from scratch; nothing that an earlier one computed is left."""
    shutil.rmtree(study / ".whereworn", ignore_errors=True)
    command = [whereworn, "report", study, "--out", out, *MONTH, *more]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, env=environment, text=True)
    if beside:
        beside(process)
    said, _ = process.communicate(timeout=600)
    return process.returncode, said


def same(ours, theirs):
    names = sorted(path.name for path in (ours / "tables").iterdir())
    if names != sorted(path.name for path in (theirs / "tables").iterdir()) or len(names) < 30:
        fail(f"{theirs} has other tables than {ours}")
    differing = [name for name in names if not filecmp.cmp(ours / "tables" / name, theirs / "tables" / name, shallow=False)]
    if differing:
        fail(f"{theirs}: other bytes in {differing}")
    for page in ("report.md", "report.html"):
        if (ours / page).read_bytes() != (theirs / page).read_bytes():
            fail(f"{theirs}: other bytes in {page}")
    return len(names)


def main():
    whereworn, node, raw = (Path(argument).resolve() for argument in sys.argv[1:])
    work = Path(tempfile.mkdtemp(prefix="whereworn-cluster-"))
    study = work / "study"
    shutil.copytree(raw, study, ignore=shutil.ignore_patterns(".whereworn", "reports"))
    (work / "programs").mkdir()
    shutil.copy(node, work / "programs" / "whereworn-node")
    environment = {**os.environ, "PATH": f"{work / 'programs'}:{os.environ['PATH']}"}
    processes = Processes(node, work)
    try:
        status, said = report(whereworn, study, work / "here")
        if status:
            fail(f"status {status}: {said}")

        began = time.monotonic()
        nobody = ["--engine", "cluster", "--at", f"127.0.0.1:{free_port()}"]
        status, said = report(whereworn, study, work / "nobody", *nobody, environment=environment)
        if status != 1 or "no scheduler answers there" not in said or time.monotonic() - began > 20:
            fail(f"without a scheduler: status {status}, {said}")
        if (work / "nobody").exists():
            fail("a report was written without a scheduler")

        at, executors = processes.cluster(environment)
        cluster = ["--engine", "cluster", "--at", at]
        status, said = report(whereworn, study, work / "folder", *cluster, environment=environment)
        if status:
            fail(f"status {status}: {said}")
        print(f"through a folder: {same(work / 'here', work / 'folder')} tables alike")

        def kill(victims, process):
            # The longest step; its file tells when it begins.
            for _ in range(600):
                if list(study.glob(".whereworn/spill-*/artefacts_by_setting.json")) or process.poll() is not None:
                    break
                time.sleep(0.05)
            if process.poll() is not None:
                fail(f"the report ended before an executor was killed: {process.communicate()}")
            for victim in victims:
                victim.send_signal(signal.SIGKILL)

        status, said = report(whereworn, study, work / "killed", *cluster, beside=lambda process: kill(executors[:1], process), environment=environment)
        if status:
            fail(f"with an executor killed: status {status}: {said}")
        print(f"with an executor killed: {same(work / 'here', work / 'killed')} tables alike")

        status, said = report(
            whereworn, study, work / "lost", *cluster, beside=lambda process: kill(executors, process), environment=environment
        )
        if status != 1 or "no executor was there" not in said or (work / "lost").exists():
            fail(f"with all executors killed: status {status}, {said}")
        print("with all executors killed: one line, and no report")
        processes.end()

        port = free_port()
        keys = {
            "AWS_ACCESS_KEY_ID": "invented",
            "AWS_SECRET_ACCESS_KEY": "invented",
            "AWS_REGION": "us-east-1",
            "AWS_ENDPOINT_URL": f"http://127.0.0.1:{port}",
            "AWS_ALLOW_HTTP": "true",
        }
        environment |= keys
        server = Path(sys.executable).parent / "moto_server"
        processes.start("bucket", [server, "-H", "127.0.0.1", "-p", str(port)], env=environment)
        processes.listens(port)
        made = urllib.request.Request(f"http://127.0.0.1:{port}/steps", method="PUT")
        urllib.request.urlopen(made).read()
        at, _ = processes.cluster(environment)
        bucket = ["--engine", "cluster", "--at", at, "--through", "s3://steps/of-a-study"]
        status, said = report(whereworn, study, work / "bucket", *bucket, environment=environment)
        if status:
            fail(f"through a bucket: status {status}: {said}")
        print(f"through a bucket: {same(work / 'here', work / 'bucket')} tables alike")
        listed = urllib.request.urlopen(f"http://127.0.0.1:{port}/steps").read().decode()
        if "/step-" in listed or "/readings-" not in listed:
            fail(f"what a step had copied is still in the bucket: {listed}")
    finally:
        processes.end()
        shutil.rmtree(work, ignore_errors=True)


main()
