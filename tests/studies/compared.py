"""Two ways to do the same work, timed in turns so that both meet the same load."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median


@dataclass(frozen=True, kw_only=True)
class Compared:
    """Seconds of each round of both, and the ratio that is wanted.

    Parameters
    ----------
    what, other : str
        The work, and who did it besides this program.
    ours, theirs : list of float
        Seconds, a pair a round.
    target : float
        Largest wanted ratio; 0 where none is.
    memory_mb, memory_target_mb : float
        What reading added, and what it may; 0 where memory is not compared.
    """

    what: str
    other: str
    ours: list[float]
    theirs: list[float]
    target: float
    memory_mb: float = 0.0
    memory_target_mb: float = 0.0

    @property
    def paired(self) -> float:
        """Median of the rounds' ratios: other work of the machine falls on both of a pair."""
        return median(a / b for a, b in zip(self.ours, self.theirs, strict=True))

    @property
    def best(self) -> float:
        """Ratio of the shortest times: everything above these is other work of the machine."""
        return min(self.ours) / min(self.theirs)

    @property
    def reached(self) -> bool:
        """Whether the target is met by the paired rounds."""
        return self.paired <= self.target

    def row(self) -> str:
        """A line of the table."""
        memory = "–"
        if self.memory_target_mb:
            memory = f"{self.memory_mb:.0f} MB (≤ {self.memory_target_mb:.0f})"
        wanted = f"{self.target} | {'yes' if self.reached else 'NO'}" if self.target else "– | –"
        return (
            f"| {self.what} | {self.other} | {1e3 * median(self.ours):.2f} "
            f"| {1e3 * median(self.theirs):.2f} | **{self.paired:.2f}** | {self.best:.2f} "
            f"| {wanted} | {memory} |"
        )
