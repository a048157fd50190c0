"""Makes a part through `spile open` without its page, with Python's own library alone:

python script.py SPILE SCAN FOLDER

What can be asked is not written here: it is read from the server's own description.
"""

import json
import subprocess
import sys
import time
from pathlib import Path
from urllib.error import HTTPError
from urllib.parse import quote
from urllib.request import Request, urlopen


class Server:
    """A server by its address: asks by the names that its description gives."""

    def __init__(self, address):
        self.address = address.rstrip("/")
        with urlopen(f"{self.address}/api/openapi.json") as answer:
            paths = json.load(answer)["paths"]
        self.ways = {
            operation["operationId"]: (method.upper(), path)
            for path, methods in paths.items()
            for method, operation in methods.items()
        }

    def answer(self, operation, body=None, /, **places):
        """The open answer. What the path leaves open is in `places`; a body that is no bytes goes as JSON."""
        method, path = self.ways[operation]
        path = path.format(**{key: quote(str(value)) for key, value in places.items()})
        if body is not None and not isinstance(body, bytes):
            body = json.dumps(body).encode()
        try:
            return urlopen(Request(self.address + path, body, method=method))
        except HTTPError as error:
            refused = json.load(error)["error"] if error.code == 422 else {"message": error.reason}
            raise SystemExit(f"{operation}: {refused['message']}") from error

    def ask(self, operation, body=None, /, **places):
        """All bytes of the answer."""
        with self.answer(operation, body, **places) as answer:
            return answer.read()

    def state(self):
        return json.loads(self.ask("state"))

    def until(self, is_so, seconds=600):
        """The state once it is so: looked at after every event, never in between."""
        latest = time.monotonic() + seconds
        with self.answer("events") as events:
            # Where nothing happens a line comes all the same, from time to time.
            for line in events:
                state = self.state() if line.startswith(b"data:") else None
                if state and is_so(state):
                    return state
                if time.monotonic() > latest:
                    break
        raise SystemExit("that did not come about")


def make(server, scan, edits, folder):
    """Hands the scan over, changes the case that spile begins, makes the part, fetches every file."""
    server.ask("put_file", scan.read_bytes(), name=scan.name)
    server.until(lambda state: state["case"])
    server.ask("edit", {"what": "what the script wants", "edits": edits})
    server.ask("run")
    state = server.until(lambda state: state["run"]["is"] not in ("idle", "running"))
    if state["run"]["is"] != "done":
        raise SystemExit(f"it was not made: {state['run']}")
    for file in state["result"]["files"]:
        path = folder / file["name"]
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(server.ask("output", name=file["name"]))
    return state


def main(spile, scan, folder):
    command = [spile, "open", "--no-browser", "--json"]
    program = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=folder)
    address = "".join(iter(program.stdout.readline, "}\n")) + "}"
    server = Server(json.loads(address)["address"])
    wall = [{"path": ["limits", "wall_min"], "value": 1.0}]
    state = make(server, Path(scan), wall, Path(folder) / "fetched")
    print(state["result"]["verdict"])
    server.ask("end")
    program.wait()


if __name__ == "__main__":
    main(*sys.argv[1:])
