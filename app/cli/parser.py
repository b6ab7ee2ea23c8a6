"""What can be asked on the command line: commands, their options, examples and exit codes."""

from __future__ import annotations

import argparse
import textwrap
from pathlib import Path
from typing import NoReturn, Protocol

from app.cli.completion import SHELLS

UNUSABLE = 2

NOTICE = (
    "Sounding measures and shows what it measured on; it makes no diagnosis and no treatment"
    " decision. It is not a certified medical device. README.md has the full cautions."
)
EXIT_CODES = (
    "exit codes: 0 done, whatever the verdicts; 2 the input cannot be used, one sentence on "
    "standard\nerror says why and what to do; 1 a fault of the program; 130 stopped by the "
    "keyboard"
)
_HAND_HELP = "a repeat study (JSON): the marks count by its scatter, as if the plan named it"
_SCAN_HELP = "the exported folder, file, zip or DICOMDIR"
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
        self.exit(UNUSABLE, f"{message[:1].upper()}{message[1:]}. Run '{self.prog} --help'.\n")


class _Command(Protocol):
    """Adds a command."""

    def __call__(self, name: str, text: str, *examples: str, quiet: bool = False) -> Parser:
        """Name, what it does, examples without the program's name."""


def parser() -> argparse.ArgumentParser:
    """Build the whole command line; imports nothing that computes."""
    top = Parser(prog="sounding", description=textwrap.fill(NOTICE, 79), epilog=EXIT_CODES)
    top.add_argument("--version", action="store_true", help="print the version and stop")
    tasks = top.add_subparsers(title="commands", metavar="COMMAND", parser_class=Parser)

    def command(name: str, text: str, *examples: str, quiet: bool = False) -> Parser:
        shown = "\n".join(f"  sounding {example}" for example in examples)
        epilog = f"examples:\n{shown}\n\n{EXIT_CODES}" if examples else EXIT_CODES
        sub = tasks.add_parser(name, help=text, description=text, epilog=epilog)
        sub.set_defaults(command=name)
        if quiet:
            sub.add_argument(
                "--quiet",
                action="store_true",
                help="no progress and no list of what was written; what is missing is told",
            )
        return sub

    _measuring(command)
    _archive(command)
    _many(command)
    _program(command)
    return top


def _measuring(command: _Command) -> None:
    sub = command(
        "inspect", "Show what an export holds, and what limits measuring on it.",
        "inspect exported-folder", "inspect exported.zip --json",
    )  # fmt: skip
    sub.add_argument("path", type=Path, metavar="PATH", help=_SCAN_HELP)
    sub.add_argument("--json", action="store_true", help="print JSON in place of text")

    sub = command(
        "measure", "Measure a plan on its scan; print the ledger.",
        "measure case.plan.json --scan exported-folder",
        "measure case.plan.json --scan exported-folder --json - --quiet | jq .summary",
        quiet=True,
    )  # fmt: skip
    _scan_of(sub)
    sub.add_argument(
        "--json", metavar="FILE",
        help="write the ledger file as well; - prints it in place of the table",
    )  # fmt: skip
    _hand_of(sub)

    sub = command(
        "sheet", "Write the measurement sheet, and the record beside it.",
        "sheet case.plan.json --scan exported-folder --out record",
        "sheet case.plan.json --scan exported-folder --out record --only sheet --paper Letter",
        quiet=True,
    )  # fmt: skip
    _scan_of(sub)
    sub.add_argument("--out", type=Path, required=True, metavar="FOLDER", help="where to")
    sub.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="paper size")
    sub.add_argument(
        "--sizes", type=Path, metavar="CSV", help="sizes to try at each pose; else the shipped ones"
    )
    sub.add_argument(
        "--only", choices=("sheet", "record"),
        help="only the sheet, or only what goes beside it: card, checklist, archive, meshes",
    )  # fmt: skip
    _hand_of(sub)
    sub.add_argument(
        "--depth-from", choices=DEPTHS_FROM,
        help="where drilling depths are counted from; else what the plan says",
    )  # fmt: skip
    sub.add_argument("--drills", type=Path, metavar="CSV", help="your own table of drills")
    sub.add_argument("--risks", type=Path, metavar="TXT", help="your own text for the patient page")
    sub.add_argument(
        "--pseudonymous", action="store_true",
        help="replace names, dates and UIDs in every file; goes into a folder of its own",
    )  # fmt: skip

    sub = command(
        "section", "Write one section across the arch as a picture.",
        "section case.plan.json --scan exported-folder --station 52 --out section.png",
        quiet=True,
    )  # fmt: skip
    _scan_of(sub)
    sub.add_argument("--station", type=float, required=True, metavar="MM", help="place on the arch")
    sub.add_argument("--out", type=Path, required=True, metavar="PNG", help="where to")


def _archive(command: _Command) -> None:
    sub = command(
        "send", "Send the DICOM objects of a sheet's folder to an archive.",
        "send record --to ARCHIVE@192.0.2.10:104",
        "send record --to ARCHIVE@pacs.example:2762 --tls --ca ca.pem --cert me.pem --key me.key",
        quiet=True,
    )  # fmt: skip
    sub.add_argument("folder", type=Path, metavar="FOLDER", help="written by sheet or the bench")
    sub.add_argument("--to", required=True, metavar=_ADDRESS, help="the archive")
    sub.add_argument(
        "--unsigned", action="store_true", help="send a draft too; without it nothing unsigned goes"
    )
    sub.add_argument(
        "--again", action="store_true", help="send what this archive has confirmed before, too"
    )
    sub.add_argument(
        "--no-commitment", action="store_true", help="do not ask the archive for its commitment"
    )
    _node_of(sub)

    sub = command(
        "fetch", "List the series of an archive, or open one into the scan cache.",
        "fetch --from ARCHIVE@192.0.2.10:104 --patient S-0107",
        "fetch --from ARCHIVE@192.0.2.10:104 --study 1.2.3 --series 1.2.3.4",
        quiet=True,
    )  # fmt: skip
    sub.add_argument("--from", dest="source", required=True, metavar=_ADDRESS, help="the archive")
    sub.add_argument("--patient", default="", metavar="ID", help="patient ID to look for")
    sub.add_argument("--study", default="", metavar="UID", help="study to look in")
    sub.add_argument("--series", default="", metavar="UID", help="series to open; needs --study")
    sub.add_argument("--out", type=Path, metavar="FOLDER", help="where to, else the scan cache")
    sub.add_argument(
        "--move", action="store_true",
        help="C-MOVE to this program in place of C-GET; needs --listen and a place in the archive",
    )  # fmt: skip
    _node_of(sub)


def _many(command: _Command) -> None:
    sub = command(
        "study", "Measure many plans on their scans into one table.",
        "study cases.csv --out study.parquet",
        "study folder-of-cases --out study.csv --workers 2",
        "study cases.csv --out study.parquet --scheduler tcp://192.0.2.20:8786",
        quiet=True,
    )  # fmt: skip
    sub.add_argument(
        "cases", type=Path, metavar="CASES.csv|FOLDER",
        help="a table with the columns plan and scan (series, case), or a folder of plan files, "
        "each beside its scan",
    )  # fmt: skip
    sub.add_argument(
        "--out", type=Path, required=True, metavar="FILE", help="where to: .parquet or .csv"
    )
    sub.add_argument("--workers", type=_number, metavar="N", help="processes; else one a core")
    sub.add_argument(
        "--memory-mb", type=_number, default=3000, metavar="MB",
        help="most memory of a worker; a case that needs more is a row with that reason",
    )  # fmt: skip
    sub.add_argument("--scheduler", metavar="ADDRESS", help="a Dask cluster that is running")
    sub.add_argument(
        "--again", action="store_true", help="measure what an earlier run has measured, too"
    )


def _program(command: _Command) -> None:
    sub = command("open", "Open the bench.", "open exported-folder")
    sub.add_argument("path", type=Path, nargs="?", metavar="PATH", help=_SCAN_HELP)

    sub = command(
        "demo", "Do the whole job on the sample scan; needs no screen.", "demo --out somewhere",
        quiet=True,
    )  # fmt: skip
    sub.add_argument("--out", type=Path, metavar="FOLDER", help="where the sheet goes")

    sub = command(
        "components", "List every part of the program here, with its licence.",
        "components --out parts.json",
    )  # fmt: skip
    sub.add_argument("--out", type=Path, metavar="FILE", help="write it as a CycloneDX document")

    sub = command("verify", "Test the program on an invented scan; tests no scanner.", "verify")
    sub.add_argument("--out", type=Path, metavar="FOLDER", help="where the dated page goes")
    sub.add_argument("--seed", type=_seed, metavar="N", help="draw the scan of an earlier run")

    sub = command(
        "schema", "Print the schema of a file, or the codes of the structured report.",
        "schema table", "schema codes",
    )  # fmt: skip
    sub.add_argument(
        "what", choices=("table", "ledger", "plan", "settings", "codes"), help="of which file"
    )

    sub = command(
        "completion", "Print what a shell needs to complete commands and options.",
        "completion bash > ~/.local/share/bash-completion/completions/sounding",
        "completion zsh >> ~/.zshrc",
        "completion fish > ~/.config/fish/completions/sounding.fish",
    )  # fmt: skip
    sub.add_argument("shell", choices=SHELLS, help="which shell")


def _scan_of(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("plan", type=Path, metavar="PLAN", help="the plan file (*.plan.json)")
    sub.add_argument("--scan", type=Path, required=True, metavar="PATH", help=_SCAN_HELP)
    sub.add_argument("--series", metavar="UID[:STACK]", help="which series, if there are more")


def _hand_of(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("--hand", type=Path, metavar="FILE", help=_HAND_HELP)
    sub.add_argument("--person", metavar="NAME", help="whose hand, where two took part")


def _node_of(sub: argparse.ArgumentParser) -> None:
    sub.add_argument("--as", dest="title", default="SOUNDING", metavar="AET", help="own AE title")
    sub.add_argument(
        "--listen", type=_number, metavar="PORT", help="own port, for what the archive sends back"
    )
    sub.add_argument(
        "--tls", action="store_true", help="encrypted, the archive's certificate checked"
    )
    sub.add_argument("--ca", type=Path, metavar="PEM", help="who may have signed that certificate")
    sub.add_argument("--cert", type=Path, metavar="PEM", help="own certificate")
    sub.add_argument("--key", type=Path, metavar="PEM", help="key of the own certificate")


def _seed(text: str) -> int:
    """A seed from the command line: a whole number from 0."""
    if not text.isdecimal():
        raise argparse.ArgumentTypeError(f"a seed is a whole number from 0, not {text!r}")
    return int(text)


def _number(text: str) -> int:
    if not text.isdecimal() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"a whole number from 1 is needed, not {text!r}")
    return int(text)
