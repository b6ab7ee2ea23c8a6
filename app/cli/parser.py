"""What can be asked on the command line: commands, their options, examples and exit codes."""

from __future__ import annotations

import argparse
import textwrap
from pathlib import Path
from typing import NoReturn, Protocol

from app.cli.completion import SHELLS
from core.words.catalogue import SOURCE, languages, message, say

UNUSABLE = 2

NOTICE = message("cli.parser.sounding-measures-and-shows-what")
EXIT_CODES = message("cli.parser.exit-codes-0-done-whatever")
_HAND_HELP = message("cli.parser.a-repeat-study-json-the")
_SCAN_HELP = message("cli.parser.the-exported-folder-file-zip")
_ADDRESS = "AET@HOST:PORT"

DEPTHS_FROM = ("buccal-rim", "highest-rim", "gum", "stent-top")
"""`core.distances.drilling.ORIGINS` as they are typed; named here, for core takes long to load."""


class Parser(argparse.ArgumentParser):
    """Says what is wrong with a command in one sentence, without the usage block.

    No option may be shortened: a script that relies on a short form would mean another option
    once a longer list makes it ambiguous.
    """

    def __init__(self, *args: object, **more: object) -> None:
        options = {"allow_abbrev": False, "formatter_class": argparse.RawDescriptionHelpFormatter}
        super().__init__(*args, **(options | more))  # type: ignore[arg-type]

    def error(self, message: str) -> NoReturn:
        """End with the sentence."""
        what = f"{message[:1].upper()}{message[1:]}"
        self.exit(UNUSABLE, f"{say('cli.parser.wrong', what=what, program=self.prog)}\n")


class _Command(Protocol):
    """Adds a command."""

    def __call__(self, name: str, text: str, *examples: str, quiet: bool = False) -> Parser:
        """Name, what it does, examples without the program's name."""


def parser() -> argparse.ArgumentParser:
    """Build the whole command line; imports nothing that computes."""
    top = Parser(
        prog="sounding", description=textwrap.fill(str(NOTICE), 79), epilog=str(EXIT_CODES)
    )
    top.add_argument(
        "--version", action="store_true", help=say("cli.parser.print-the-version-and-stop")
    )
    tasks = top.add_subparsers(
        title=say("cli.parser.commands"), metavar="COMMAND", parser_class=Parser
    )

    def command(name: str, text: str, *examples: str, quiet: bool = False) -> Parser:
        shown = "\n".join(f"  sounding {example}" for example in examples)
        epilog = (
            f"{say('cli.parser.examples')}\n{shown}\n\n{EXIT_CODES}"
            if examples
            else str(EXIT_CODES)
        )
        sub = tasks.add_parser(name, help=text, description=text, epilog=epilog)
        sub.set_defaults(command=name)
        if quiet:
            sub.add_argument(
                "--quiet", action="store_true", help=say("cli.parser.no-progress-and-no-list")
            )
        return sub

    _measuring(command)
    _archive(command)
    _many(command)
    _program(command)
    return top


def _measuring(command: _Command) -> None:
    sub = command(
        "inspect", say("cli.parser.show-what-an-export-holds"),
        "inspect exported-folder", "inspect exported.zip --json",
    )  # fmt: skip
    sub.add_argument("path", type=Path, metavar="PATH", help=str(_SCAN_HELP))
    sub.add_argument("--json", action="store_true", help=say("cli.parser.print-json-in-place-of"))

    sub = command(
        "measure", say("cli.parser.measure-a-plan-on-its"),
        "measure case.plan.json --scan exported-folder",
        "measure case.plan.json --scan exported-folder --json - --quiet | jq .summary",
        quiet=True,
    )  # fmt: skip
    _scan_of(sub)
    sub.add_argument(
        "--json", metavar="FILE",
        help=say("cli.parser.write-the-ledger-file-as"),
    )  # fmt: skip
    _hand_of(sub)

    sub = command(
        "sheet", say("cli.parser.write-the-measurement-sheet-and"),
        "sheet case.plan.json --scan exported-folder --out record",
        "sheet case.plan.json --scan exported-folder --out record --only sheet --paper Letter",
        quiet=True,
    )  # fmt: skip
    _scan_of(sub)
    sub.add_argument(
        "--out", type=Path, required=True, metavar="FOLDER", help=say("cli.parser.where-to")
    )
    sub.add_argument(
        "--paper", choices=("A4", "Letter"), default="A4", help=say("cli.parser.paper-size")
    )
    sub.add_argument(
        "--language", choices=languages(), default=SOURCE, help=say("cli.parser.language-of-pages")
    )
    sub.add_argument(
        "--sizes", type=Path, metavar="CSV", help=say("cli.parser.sizes-to-try-at-each")
    )
    sub.add_argument(
        "--only", choices=("sheet", "record"),
        help=say("cli.parser.only-the-sheet-or-only"),
    )  # fmt: skip
    _hand_of(sub)
    sub.add_argument(
        "--depth-from", choices=DEPTHS_FROM,
        help=say("cli.parser.where-drilling-depths-are-counted"),
    )  # fmt: skip
    sub.add_argument(
        "--drills", type=Path, metavar="CSV", help=say("cli.parser.your-own-table-of-drills")
    )
    sub.add_argument(
        "--risks", type=Path, metavar="TXT", help=say("cli.parser.your-own-text-for-the")
    )
    sub.add_argument(
        "--pseudonymous", action="store_true",
        help=say("cli.parser.replace-names-dates-and-uids"),
    )  # fmt: skip

    sub = command(
        "section", say("cli.parser.write-one-section-across-the"),
        "section case.plan.json --scan exported-folder --station 52 --out section.png",
        quiet=True,
    )  # fmt: skip
    _scan_of(sub)
    sub.add_argument(
        "--station",
        type=float,
        required=True,
        metavar="MM",
        help=say("cli.parser.place-on-the-arch"),
    )
    sub.add_argument(
        "--out", type=Path, required=True, metavar="PNG", help=say("cli.parser.where-to")
    )


def _archive(command: _Command) -> None:
    sub = command(
        "send", say("cli.parser.send-the-dicom-objects-of"),
        "send record --to ARCHIVE@192.0.2.10:104",
        "send record --to ARCHIVE@pacs.example:2762 --tls --ca ca.pem --cert me.pem --key me.key",
        quiet=True,
    )  # fmt: skip
    sub.add_argument(
        "folder", type=Path, metavar="FOLDER", help=say("cli.parser.written-by-sheet-or-the")
    )
    sub.add_argument("--to", required=True, metavar=_ADDRESS, help=say("cli.parser.the-archive"))
    sub.add_argument(
        "--unsigned", action="store_true", help=say("cli.parser.send-a-draft-too-without")
    )
    sub.add_argument(
        "--again", action="store_true", help=say("cli.parser.send-what-this-archive-has")
    )
    sub.add_argument(
        "--no-commitment", action="store_true", help=say("cli.parser.do-not-ask-the-archive")
    )
    _node_of(sub)

    sub = command(
        "fetch", say("cli.parser.list-the-series-of-an"),
        "fetch --from ARCHIVE@192.0.2.10:104 --patient S-0107",
        "fetch --from ARCHIVE@192.0.2.10:104 --study 1.2.3 --series 1.2.3.4",
        quiet=True,
    )  # fmt: skip
    sub.add_argument(
        "--from", dest="source", required=True, metavar=_ADDRESS, help=say("cli.parser.the-archive")
    )
    sub.add_argument(
        "--patient", default="", metavar="ID", help=say("cli.parser.patient-id-to-look-for")
    )
    sub.add_argument("--name", default="", metavar="NAME", help=say("cli.parser.name-to-look-for"))
    sub.add_argument("--day", default="", metavar="DAY", help=say("cli.parser.day-to-look-for"))
    sub.add_argument("--study", default="", metavar="UID", help=say("cli.parser.study-to-look-in"))
    sub.add_argument(
        "--series", default="", metavar="UID", help=say("cli.parser.series-to-open-needs-study")
    )
    sub.add_argument(
        "--out", type=Path, metavar="FOLDER", help=say("cli.parser.where-to-else-the-scan")
    )
    sub.add_argument(
        "--move", action="store_true",
        help=say("cli.parser.c-move-to-this-program"),
    )  # fmt: skip
    _node_of(sub)


def _many(command: _Command) -> None:
    sub = command(
        "study", say("cli.parser.measure-many-plans-on-their"),
        "study cases.csv --out study.parquet",
        "study folder-of-cases --out study.csv --workers 2",
        "study cases.csv --out study.parquet --scheduler tcp://192.0.2.20:8786",
        quiet=True,
    )  # fmt: skip
    sub.add_argument(
        "cases", type=Path, metavar="CASES.csv|FOLDER",
        help=say("cli.parser.a-table-with-the-columns"),
    )  # fmt: skip
    sub.add_argument(
        "--out",
        type=Path,
        required=True,
        metavar="FILE",
        help=say("cli.parser.where-to-parquet-or-csv"),
    )
    sub.add_argument(
        "--workers", type=_number, metavar="N", help=say("cli.parser.processes-else-one-a-core")
    )
    sub.add_argument(
        "--memory-mb", type=_number, default=3000, metavar="MB",
        help=say("cli.parser.most-memory-of-a-worker"),
    )  # fmt: skip
    sub.add_argument(
        "--scheduler", metavar="ADDRESS", help=say("cli.parser.a-dask-cluster-that-is")
    )
    sub.add_argument(
        "--again", action="store_true", help=say("cli.parser.measure-what-an-earlier-run")
    )


def _program(command: _Command) -> None:
    sub = command("open", say("cli.parser.open-the-bench"), "open exported-folder")
    sub.add_argument("path", type=Path, nargs="?", metavar="PATH", help=str(_SCAN_HELP))

    sub = command(
        "demo", say("cli.parser.do-the-whole-job-on"), "demo --out somewhere",
        quiet=True,
    )  # fmt: skip
    sub.add_argument(
        "--out", type=Path, metavar="FOLDER", help=say("cli.parser.where-the-sheet-goes")
    )

    sub = command(
        "components", say("cli.parser.list-every-part-of-the"),
        "components --out parts.json",
    )  # fmt: skip
    sub.add_argument(
        "--out", type=Path, metavar="FILE", help=say("cli.parser.write-it-as-a-cyclonedx")
    )

    sub = command("verify", say("cli.parser.test-the-program-on-an"), "verify")
    sub.add_argument(
        "--out", type=Path, metavar="FOLDER", help=say("cli.parser.where-the-dated-page-goes")
    )
    sub.add_argument("--seed", type=_seed, metavar="N", help=say("cli.parser.draw-the-scan-of-an"))

    sub = command(
        "schema", say("cli.parser.print-the-schema-of-a"),
        "schema table", "schema codes",
    )  # fmt: skip
    sub.add_argument(
        "what",
        choices=("table", "ledger", "plan", "settings", "codes"),
        help=say("cli.parser.of-which-file"),
    )

    sub = command(
        "completion", say("cli.parser.print-what-a-shell-needs"),
        "completion bash > ~/.local/share/bash-completion/completions/sounding",
        "completion zsh >> ~/.zshrc",
        "completion fish > ~/.config/fish/completions/sounding.fish",
    )  # fmt: skip
    sub.add_argument("shell", choices=SHELLS, help=say("cli.parser.which-shell"))


def _scan_of(sub: argparse.ArgumentParser) -> None:
    sub.add_argument(
        "plan", type=Path, metavar="PLAN", help=say("cli.parser.the-plan-file-plan-json")
    )
    sub.add_argument("--scan", type=Path, required=True, metavar="PATH", help=str(_SCAN_HELP))
    sub.add_argument(
        "--series", metavar="UID[:STACK]", help=say("cli.parser.which-series-if-there-are")
    )


def _hand_of(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("--hand", type=Path, metavar="FILE", help=str(_HAND_HELP))
    sub.add_argument("--person", metavar="NAME", help=say("cli.parser.whose-hand-where-two-took"))


def _node_of(sub: argparse.ArgumentParser) -> None:
    sub.add_argument(
        "--as", dest="title", default="SOUNDING", metavar="AET", help=say("cli.parser.own-ae-title")
    )
    sub.add_argument(
        "--listen", type=_number, metavar="PORT", help=say("cli.parser.own-port-for-what-the")
    )
    sub.add_argument(
        "--tls",
        action="store_true",
        help=say("cli.parser.encrypted-the-archives-certificate-checked"),
    )
    sub.add_argument(
        "--ca", type=Path, metavar="PEM", help=say("cli.parser.who-may-have-signed-that")
    )
    sub.add_argument("--cert", type=Path, metavar="PEM", help=say("cli.parser.own-certificate"))
    sub.add_argument(
        "--key", type=Path, metavar="PEM", help=say("cli.parser.key-of-the-own-certificate")
    )


def _seed(text: str) -> int:
    """A seed from the command line: a whole number from 0."""
    if not text.isdecimal():
        raise argparse.ArgumentTypeError(say("cli.parser.a-seed-is-a-whole", text=text))
    return int(text)


def _number(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(say("cli.parser.a-whole-number-from-1", text=text))
    return int(text)
