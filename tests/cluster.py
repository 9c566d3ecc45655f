"""A PostgreSQL of our own for one run: on a socket in a temporary folder, and gone with the run, even a killed one."""

import os
import shutil
import signal
import subprocess
import tempfile
import time
from pathlib import Path

import psycopg

OWNER = "fulling"
SETTINGS = {
    "listen_addresses": "",
    "fsync": "off",
    "synchronous_commit": "off",
    "full_page_writes": "off",
    "max_connections": "60",
    # What tests write is rolled back: swept meanwhile, tables count as empty, and plans for full ones go wrong.
    "autovacuum": "off",
    # A test that waits for a lock for ever says so instead of hanging the run.
    "lock_timeout": "20s",
    "statement_timeout": "60s",
}
# Reads until the run's end of the pipe closes, however that comes about; then stops the server and clears up.
WATCH = """
cat > /dev/null
read -r pid < "$0/data/postmaster.pid" && kill -QUIT "$pid"
for i in $(seq 100); do kill -0 "$pid" || break; sleep 0.1; done
rm -rf "$0"
"""


def binaries() -> Path | None:
    """Where PostgreSQL's newest programs lie; Debian keeps them off the path."""
    versions = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: float(path.parts[4]))
    found = str(versions[-1]) if versions else shutil.which("initdb")
    return Path(found).parent if found else None


class Cluster:
    """Known by its folder before it runs, so that settings can name it; started only when a test needs it."""

    def __init__(self, settings: dict[str, str] = SETTINGS) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="fulling-pg-"))
        self.log = self.folder / "log"
        self.settings = settings
        self.server: subprocess.Popen | None = None

    def url(self, database: str, user: str = OWNER) -> str:
        return f"postgres://{user}@/{database}?host={self.folder}"

    def start(self) -> None:
        programs = binaries()
        if programs is None:
            raise RuntimeError("PostgreSQL is missing; install it: apt-get install postgresql")
        if os.geteuid() == 0:
            shutil.chown(self.folder, "postgres", "postgres")
        initdb = [programs / "initdb", "-D", self.folder / "data", "-U", OWNER, "-A", "trust", "-N"]
        subprocess.run([*initdb, "-E", "UTF8", "--locale=C.UTF-8"], check=True, **self._as_user())
        self.run()
        self.watch = subprocess.Popen(
            ["sh", "-c", WATCH, self.folder], stdin=subprocess.PIPE, stderr=subprocess.DEVNULL, start_new_session=True
        )

    def run(self) -> None:
        """Serve what lies in the folder: the first time, and again after a fall."""
        options = [part for name, value in self.settings.items() for part in ("-c", f"{name}={value}")]
        command = [binaries() / "postgres", "-D", self.folder / "data", "-k", self.folder, *options]
        with self.log.open("a") as log:
            self.server = subprocess.Popen(command, stderr=log, **self._as_user())
        self._wait_until_ready()

    def _as_user(self) -> dict:
        """initdb and postgres refuse to be root."""
        how: dict = {"start_new_session": True, "stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL}
        how["cwd"] = self.folder
        if os.geteuid() == 0:
            how |= {"user": "postgres", "group": "postgres", "extra_groups": []}
        return how

    def _wait_until_ready(self) -> None:
        for _ in range(300):
            if self.server.poll() is not None:
                break
            try:
                psycopg.connect(self.url("postgres")).close()
                return
            except psycopg.OperationalError:
                time.sleep(0.1)
        raise RuntimeError(f"PostgreSQL did not start:\n{self.log.read_text()}")

    def stop(self) -> None:
        if self.server is None:
            shutil.rmtree(self.folder, ignore_errors=True)
            return
        self.server.send_signal(signal.SIGQUIT)
        self.server.wait()
        self.watch.stdin.close()
        self.watch.wait()
