"""How the tests read the two documents: their sections, blocks, tables and links."""

import re
from dataclasses import dataclass

from tests.docs.generated import ROOT

README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
DOCUMENTS = {"README.md": README, "DEVELOPERS.md": DEVELOPERS}

_BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True, slots=True)
class Step:
    """One command of a console block, and what it is shown to print."""

    command: str
    printed: str


def blocks(text: str, language: str) -> list[str]:
    """List the code blocks of a language."""
    return [body for kind, body in _BLOCK.findall(text) if kind == language]


def section(text: str, heading: str) -> str:
    """Cut out what stands below a heading, up to the next of its own or a higher rank."""
    rank = len(heading) - len(heading.lstrip("#"))
    start = text.index(f"\n{heading}\n") + len(heading) + 2
    after = re.search(rf"^#{{1,{rank}}} ", text[start:], re.MULTILINE)
    return text[start : start + after.start()] if after else text[start:]


def steps(text: str) -> list[Step]:
    """List the commands of all console blocks, each with what follows it up to the next."""
    found = []
    for block in blocks(text, "console"):
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command = re.match(r"(?:.*\\\n)*.*\n", part)
            assert command is not None
            found.append(Step(command[0].rstrip("\n"), part[command.end() :]))
    return found


def rows(text: str) -> list[list[str]]:
    """List the cells of the first Markdown table in a text, without its head."""
    lines = [line for line in text.splitlines() if line.startswith("|")]
    head = next((i for i, line in enumerate(lines) if re.fullmatch(r"\|(\s*-+\s*\|)+", line)), 0)
    return [[cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]] for line in lines[head + 1 :]]


def code_in(text: str) -> list[str]:
    """List what stands between single backquotes."""
    return re.findall(r"(?<!`)`([^`\n]+)`(?!`)", text)
