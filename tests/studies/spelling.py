"""Holds every word of the catalogues against Debian's dictionaries and the trade's own list.

Needs the programs ``hunspell``, ``hunspell-en-gb`` and ``hunspell-de-de`` of Debian, which bring
their dictionaries; no part of the program or of its tests depends on them.

    .venv/bin/python tests/studies/spelling.py            each unknown word with its keys
    .venv/bin/python tests/studies/spelling.py --list     only the words, one a line

A word of the trade goes into ``trade_words.<language>.txt`` beside this file once somebody has
looked it up; a misspelt one is mended in its catalogue.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
from collections import defaultdict
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

from core.words.catalogue import catalogue_of, languages, rooms  # noqa: E402

DICTIONARIES = {"en": "en_GB", "de": "de_DE"}
_FIELD = re.compile(r"\{[^{}]*\}|<[^<>]+>|\S*[/_@]\S*|\S+\.(?:pdf|csv|json|po)\b|--[a-z-]+")
_WORD = re.compile(r"[^\W\d_]+(?:[’'-][^\W\d_]+)*")


def words_of(language: str) -> dict[str, list[str]]:
    """Each word of a language's catalogues with the keys of its sentences."""
    found: dict[str, list[str]] = defaultdict(list)
    for room in rooms(language):
        for key, entry in catalogue_of(language, room).entries.items():
            for form in entry.forms:
                for word in _WORD.findall(_FIELD.sub(" ", form.replace("&", ""))):
                    found[word.replace("’", "'").removesuffix("'s")].append(key)
    return found


def unknown(language: str) -> dict[str, list[str]]:
    """Words that neither dictionary nor list has; capitals alone are signs, not words."""
    words = words_of(language)
    asked = [word for word in words if not word.isupper() and len(word) > 2]
    done = subprocess.run(
        ["hunspell", "-d", DICTIONARIES[language], "-i", "utf-8", "-l"],
        input="\n".join(asked), capture_output=True, text=True, check=True, timeout=120,
    )  # fmt: skip
    listed = trade_words(language)
    return {
        word: words[word]
        for word in dict.fromkeys(done.stdout.split())
        if word in words and word.lower() not in listed
    }


def trade_words(language: str) -> set[str]:
    """The trade's words, in small letters."""
    path = Path(__file__).with_name(f"trade_words.{language}.txt")
    lines = path.read_text("utf-8").splitlines() if path.exists() else []
    return {line.strip().lower() for line in lines if line.strip() and not line.startswith("#")}


def main() -> int:
    """Print what is unknown; 1 where there is anything."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--list", action="store_true")
    plain = asked.parse_args().list
    count = 0
    for language in languages():
        for word, keys in sorted(unknown(language).items()):
            count += 1
            print(word if plain else f"{language}  {word}: {', '.join(dict.fromkeys(keys))[:120]}")
    return int(count > 0)


if __name__ == "__main__":
    raise SystemExit(main())
