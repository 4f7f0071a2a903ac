"""The service under test: started on a fresh registry, asked over kept connections, stopped again."""

import http.client
import json
import os
import pathlib
import subprocess
import tempfile

ACCOUNT = "second-opinion@example.org"


class NotServed(Exception):
    """The service could not be started or did not answer."""


class Connection:
    """One kept connection to the service."""

    def __init__(self, address, token):
        self.http = http.client.HTTPConnection(address, timeout=60)
        self.headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}

    def calculate(self, name, body):
        """Asks for a calculation; gives the status and the text of the answer."""
        for again in (False, True):
            try:
                self.http.request("POST", f"/api/v1/calculations/{name}", json.dumps(body), self.headers)
                response = self.http.getresponse()
                return response.status, response.read().decode()
            except ConnectionError as error:
                # A kept connection may have been closed in the meantime; a calculation can be asked again.
                self.http.close()
                if again:
                    raise NotServed(f"no answer to {json.dumps(body)}: {error}") from None


class Service:
    """`doseward serve` on a temporary SQLite file, with an account and a token made by the command line."""

    def __init__(self, binary):
        self.binary = str(pathlib.Path(binary).resolve())

    def __enter__(self):
        self.folder = tempfile.TemporaryDirectory(prefix="doseward-second-opinion-")
        settings = {name: value for name, value in os.environ.items() if not name.startswith("DOSEWARD_")}
        self.environment = settings | {
            "DOSEWARD_DATABASE_URL": f"sqlite:{self.folder.name}/registry.sqlite",
            "DOSEWARD_LISTEN": "127.0.0.1:0",
            "DOSEWARD_LOG_LEVEL": "warn",
        }
        self.log = open(f"{self.folder.name}/serve.log", "w+", encoding="utf-8")
        try:
            self._command("account", "add", ACCOUNT, "--role", "hygienist")
            self.token = self._command("token", "add", ACCOUNT, "--label", "second opinion").strip()
            self.process = subprocess.Popen(
                [self.binary, "serve"], env=self.environment, cwd=self.folder.name,
                stdout=subprocess.PIPE, stderr=self.log, text=True,
            )
            line = self.process.stdout.readline().strip()
            if not line.startswith("listening on http://"):
                raise NotServed(f"the service said {line!r} and not where it listens\n{self._logged()}")
            self.address = line.removeprefix("listening on http://")
        except BaseException:
            self.__exit__()
            raise
        return self

    def __exit__(self, *_):
        if process := getattr(self, "process", None):
            process.terminate()
            try:
                process.wait(10)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
        self.log.close()
        self.folder.cleanup()

    def connection(self):
        """One more kept connection."""
        return Connection(self.address, self.token)

    def _command(self, *words):
        done = subprocess.run(
            [self.binary, *words], env=self.environment, cwd=self.folder.name,
            capture_output=True, text=True, check=False,
        )
        if done.returncode != 0:
            raise NotServed(f"doseward {' '.join(words)}: {done.stderr.strip()}")
        return done.stdout

    def _logged(self):
        self.log.flush()
        return pathlib.Path(self.log.name).read_text(encoding="utf-8")
