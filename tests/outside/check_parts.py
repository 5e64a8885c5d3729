"""The README's ways to run a plan in parts: GNU parallel, and an array of jobs for Slurm on this machine, parts killed and begun again
among them. The gathered table is that of one run, byte for byte.

Needs GNU parallel, Slurm (slurmctld, slurmd) and munge, and root for the two daemons; installs nothing itself.
"""

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from report import Checks

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = Path(os.environ.get("FIELDRIPPLE", ROOT / "target/release/fieldripple")).resolve()
PLAN = "--vary ebn0=-1:1:1 --seconds 0.07 --rate 300000 --trials {trials}"  # in the place of the README's
SAVED_AFTER_S = 11  # a table is first saved after ten
PART_S = 16  # what a part is to take, so that it can be killed after that
PARTS = 8


def blocks():
    """The README's shell blocks about parts: for parallel, and for Slurm."""
    text = (ROOT / "README.md").read_text()
    found = [block for block in re.findall(r"```sh\n(.*?)```", text, re.S) if "--part " in block]
    return [block.replace("--vary ebn0=-16:0:1", "$PLAN") for block in found]


def run(folder, command, trials, **more):
    environment = {**os.environ, "PLAN": PLAN.format(trials=trials), "PATH": f"{folder / 'bin'}:{os.environ['PATH']}"}
    return subprocess.run(["bash", "-c", command], cwd=folder, env=environment, capture_output=True, text=True, **more)


def whole(folder, trials):
    """The table of one run."""
    run(folder, "fieldripple margin $PLAN --csv single.csv", trials, check=True)
    return (folder / "single.csv").read_bytes()


def trials_for(folder):
    """As many trials as make a part take its time here and now."""
    few = 80 * PARTS
    begun = time.monotonic()
    run(folder, f"RAYON_NUM_THREADS=1 fieldripple margin $PLAN --csv part1.csv --part 1/{PARTS}", few, check=True)
    return PARTS * max(1, round(few / PARTS * PART_S / (time.monotonic() - begun)))


def emptied(folder):
    for path in folder.glob("part*"):
        path.unlink()


def with_parallel(checks, folder, block, trials):
    emptied(folder)
    command = block.splitlines()[0]
    # One part is killed once its table was saved: what it did not finish is done by the command of all parts.
    part = command.split("'")[1].replace("{}", "3")
    environment = {**os.environ, "PLAN": PLAN.format(trials=trials), "PATH": f"{folder / 'bin'}:{os.environ['PATH']}"}
    killed = subprocess.Popen(["bash", "-c", f"exec env {part}"], cwd=folder, env=environment, stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
    time.sleep(SAVED_AFTER_S)
    was_running = killed.poll() is None
    killed.send_signal(signal.SIGKILL)
    killed.wait()
    rows = (folder / "part3.csv").read_text().count("\n") - 1
    checks.that(was_running and rows > 0, f"a part was killed with {rows} rows saved (running: {was_running})")
    done = run(folder, block, trials)
    checks.that(done.returncode == 0, f"parallel: {done.stderr[-500:]}")
    return (folder / "whole.csv").read_bytes()


def configuration(folder, host):
    """A cluster of this machine."""
    folder.mkdir()
    key = folder / "munge.key"
    key.write_bytes(os.urandom(128))
    key.chmod(0o400)
    ports = [free_port() for _ in range(2)]
    (folder / "slurm.conf").write_text(f"""
ClusterName=bench
SlurmctldHost={host}(127.0.0.1)
AuthType=auth/munge
AuthInfo=socket={folder}/munge.socket
CredType=cred/munge
SlurmUser=root
SlurmdUser=root
SlurmctldPort={ports[0]}
SlurmdPort={ports[1]}
StateSaveLocation={folder}/state
SlurmdSpoolDir={folder}/spool
SlurmctldPidFile={folder}/slurmctld.pid
SlurmdPidFile={folder}/slurmd.pid
SlurmctldLogFile={folder}/slurmctld.log
SlurmdLogFile={folder}/slurmd.log
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
SelectType=select/cons_tres
SelectTypeParameters=CR_Core
MpiDefault=none
ReturnToService=2
MinJobAge=300
KillWait=2
SchedulerParameters=sched_interval=2,batch_sched_delay=0
NodeName={host} NodeAddr=127.0.0.1 CPUs={os.cpu_count()} State=UNKNOWN
PartitionName=all Nodes=ALL Default=YES MaxTime=INFINITE State=UP
""")
    (folder / "cgroup.conf").write_text("IgnoreSystemd=yes\n")
    for name in ("state", "spool"):
        (folder / name).mkdir()
    return folder


def free_port():
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return one.getsockname()[1]


def is_idle(folder):
    """Whether the cluster's one node is there, given twenty seconds."""
    for _ in range(20):
        if "idle" in run(folder, "sinfo --noheader --format %T", 1).stdout:
            return True
        time.sleep(1)
    return False


def with_slurm(checks, folder, block, trials):
    emptied(folder)
    host = socket.gethostname().split(".")[0]
    cluster = configuration(folder / "cluster", host)
    os.environ["SLURM_CONF"] = str(cluster / "slurm.conf")
    started = [
        ["munged", "--foreground", "--force", f"--key-file={cluster}/munge.key", f"--socket={cluster}/munge.socket",
         f"--pid-file={cluster}/munge.pid", f"--log-file={cluster}/munge.log", f"--seed-file={cluster}/munge.seed"],
        ["slurmctld", "-D", "-i"],
        ["slurmd", "-D", "-N", host],
    ]
    daemons = []
    log = open(cluster / "daemons.log", "w")
    try:
        for command in started:
            daemons.append(subprocess.Popen(command, stdout=log, stderr=log))
            time.sleep(2)
        (folder / "parts.sh").write_text(block)
        if not is_idle(folder):
            print(f"slurmd does not run here: {(cluster / 'daemons.log').read_text().splitlines()[-1:]}; the jobs are run one by one instead")
            one_by_one = f"for SLURM_ARRAY_TASK_ID in $(seq {PARTS}); do export SLURM_ARRAY_TASK_ID; bash parts.sh || exit 1; done"
            run(folder, one_by_one, trials, check=True)
            run(folder, "fieldripple margin --gather part?.csv --csv whole.csv", trials, check=True)
            return (folder / "whole.csv").read_bytes()
        tested = run(folder, "sbatch --test-only parts.sh", trials)
        checks.that(tested.returncode == 0, f"sbatch --test-only: {tested.stderr}")
        given = run(folder, "sbatch --parsable parts.sh", trials)
        job = given.stdout.strip()
        if not checks.that(given.returncode == 0 and job.isdigit(), f"sbatch: {given.stderr} {(cluster / 'daemons.log').read_text()[-1500:]}"):
            return None
        requeued = False
        for _ in range(300):
            time.sleep(1)
            states = run(folder, f"squeue --noheader --array --jobs {job} --format '%K %T'", trials).stdout.split("\n")
            states = dict(line.split() for line in states if line.strip())
            if not requeued and states.get("1") == "RUNNING" and (folder / "part1.csv").exists():
                # Killed and given back to the queue; without this it would wait two minutes there.
                moved = run(folder, f"scontrol requeue {job}_1", trials)
                requeued = moved.returncode == 0
            if requeued and states.get("1") == "PENDING":
                run(folder, f"scontrol update jobid={job}_1 StartTime=now", trials)
            if not states:
                break
        checks.that(requeued, "a running part was requeued")
        checks.that(not states, f"jobs left: {states}")
        done = run(folder, "fieldripple margin --gather part?.csv --csv whole.csv", trials)
        checks.that(done.returncode == 0, f"gather: {done.stderr}")
        return (folder / "whole.csv").read_bytes()
    finally:
        for daemon in reversed(daemons):
            daemon.terminate()
        for daemon in daemons:
            try:
                daemon.wait(10)
            except subprocess.TimeoutExpired:
                daemon.kill()
        log.close()


def main():
    checks = Checks()
    missing = [name for name in ("parallel", "sbatch", "slurmctld", "slurmd", "munged") if shutil.which(name) is None]
    if missing:
        print(f"not installed: {', '.join(missing)}")
        return 1
    for_parallel, for_slurm = blocks()
    with tempfile.TemporaryDirectory(prefix="ripple-") as temporary:
        folder = Path(temporary)
        (folder / "bin").mkdir()
        (folder / "bin" / "fieldripple").symlink_to(PROGRAM)
        trials = trials_for(folder)
        expected = whole(folder, trials)
        checks.that(with_parallel(checks, folder, for_parallel, trials) == expected, "parallel: the table is another")
        print("GNU parallel: eight parts, one killed, gathered")
        expected = whole(folder, 400)
        checks.that(with_slurm(checks, folder, for_slurm, 400) == expected, "Slurm: the table is another")
        print("Slurm: an array of eight, gathered")
    return checks.end()


if __name__ == "__main__":
    sys.exit(main())
