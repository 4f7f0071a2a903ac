"""Collects requests in order and writes them, one JSON object a line."""

import json
import shutil


def at(name):
    """The stand-in for the identifier of the thing that the step `name` creates."""
    return "@" + name


def quantity(text, unit, comparator=None):
    """A quantity as the service takes it, with the digits as they were reported."""
    told = {"value": text, "unit": unit}
    return {"comparator": comparator, **told} if comparator else told


class Ledger:
    """Every request of the demonstration, by step file, and every laboratory file."""

    def __init__(self):
        self.steps = {}
        self.laboratory_files = {}

    def step(self, file, role, path, body=None, name=None, query=None, csv=None):
        """Adds one request to the step file `file`."""
        line = {"as": role, "post": path}
        if name:
            line["name"] = name
        if query:
            line["query"] = query
        if csv:
            line["csv"] = csv
        if body is not None:
            line["body"] = {key: value for key, value in body.items() if value is not None}
        self.steps.setdefault(file, []).append(line)

    def laboratory_file(self, path, rows):
        """Keeps a laboratory's file: a list of rows, the head first."""
        assert path not in self.laboratory_files, path
        self.laboratory_files[path] = "".join(_csv_row(row) + "\r\n" for row in rows)

    def write(self, root):
        """Writes all files below `root`, replacing what an earlier run wrote."""
        for folder in ("steps", "laboratory"):
            shutil.rmtree(root / folder, ignore_errors=True)
        for file, lines in sorted(self.steps.items()):
            text = "".join(json.dumps(line, ensure_ascii=False) + "\n" for line in lines)
            _write(root / "steps" / file, text)
        for path, text in sorted(self.laboratory_files.items()):
            _write(root / path, text)


def _write(path, text):
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(text.encode())


def _csv_row(cells):
    return ",".join(f'"{cell}"' if "," in cell else cell for cell in cells)
