"""What reading a recording showed, and the sentences that say so."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from beltside.base.errors import RecordingError

# Shorter takes hold too few turns of the crank to say anything (25 at idle).
SHORTEST_S: Final = 2.0
# Own choices, no source: a phone half a metre from an idling engine records at -45 dB or more.
QUIET_DB: Final = -60.0
CLIPPED_SHARE_WORTH_SAYING: Final = 5e-4
PHONE_CALL_RATE_HZ: Final = 8000
LATE_WORTH_SAYING_S: Final = 0.5


@dataclass(frozen=True)
class ReadingReport:
    """What one full pass over a recording showed.

    Attributes
    ----------
    seconds_read
        Length of what was read [s].
    seconds_lost
        Length of what the file promises and does not hold, or holds damaged [s]; 0 when nothing
        is missing or when the file does not say how long it should be.
    peak
        Largest magnitude, 1 is full scale.
    level_db
        RMS level of the loudest channel [dB re full scale, RMS of 1].
    clipped_share
        Share of samples on flat tops at full scale or at the take's own ceiling, 0 to 1.
    silent
        True when no channel ever swings by more than -80 dB re full scale.
    cut_short
        True when the end of the file is missing.
    warnings
        What makes results less sure, one plain sentence each, with what to do.
    notes
        What is worth knowing and takes nothing away, one plain sentence each.
    """

    seconds_read: float
    seconds_lost: float
    peak: float
    level_db: float
    clipped_share: float
    silent: bool
    cut_short: bool
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def require_usable(self, name: str) -> None:
        """Refuse a recording that is too short or silent.

        Parameters
        ----------
        name
            What to call the recording in the message.

        Raises
        ------
        RecordingError
            When it is shorter than 2 s, or silent.
        """
        if self.seconds_read < SHORTEST_S:
            raise RecordingError(
                f"{name} holds {self.seconds_read:.2f} s of sound"
                + (", the rest of it could not be read" if self.seconds_lost > 0 else ""),
                allowed=f"{SHORTEST_S:g} s or more",
                instead="record again for 15 s or more",
            )
        if self.silent:
            raise RecordingError(
                f"{name} is silent from start to end: the microphone was probably blocked, or "
                "the app was not permitted to use it",
                allowed="sound above -80 dB of full scale",
                instead="allow it in the phone's settings, uncover the microphone, record again",
            )


@dataclass(frozen=True)
class Losses:
    """What went wrong while one recording was read.

    Attributes
    ----------
    promised_s
        Length the file says it has [s], None when it does not say or only guesses.
    promise_tolerance_s
        By how much that may honestly differ from the sound read [s].
    seconds_failed
        Length of the pieces that could not be decoded [s].
    packets_failed
        Their number.
    gap_s
        Time missing between pieces by their time stamps [s].
    cut_short
        The end of the file is missing.
    promise_is_whole
        `promised_s` was written with the whole file, and is not the length of what is left.
    format_changed
        Sample rate or channels changed on the way; reading stopped there.
    crashed
        The decoder broke off; reading stopped there.
    """

    promised_s: float | None = None
    promise_tolerance_s: float = 0.25
    seconds_failed: float = 0.0
    packets_failed: int = 0
    gap_s: float = 0.0
    cut_short: bool = False
    promise_is_whole: bool = False
    format_changed: bool = False
    crashed: bool = False

    def seconds_lost(self, seconds_read: float) -> float:
        """Length lost, by whichever of the three counts sees most of it [s]."""
        missing_s = 0.0 if self.promised_s is None else self.promised_s - seconds_read
        if missing_s <= self.promise_tolerance_s:
            missing_s = 0.0
        gap_s = self.gap_s if self.gap_s > self.promise_tolerance_s else 0.0
        return max(missing_s, gap_s, self.seconds_failed)

    def sentences(self, seconds_read: float) -> list[str]:
        """The warnings about losses."""
        said: list[str] = []
        lost_s = self.seconds_lost(seconds_read)
        if self.crashed:
            said.append(
                f"The file is damaged: reading broke off after {seconds_read:.1f} s. "
                "Send the original file, or record again."
            )
        elif self.format_changed:
            said.append(
                f"Sample rate or channels change after {seconds_read:.1f} s; only the sound "
                "before that was read."
            )
        whole_known = self.promise_is_whole and self.promised_s is not None
        if self.cut_short and whole_known and lost_s <= self.promise_tolerance_s:
            said.append(
                f"The recording is cut short at its very end: {seconds_read:.1f} s were read and "
                f"less than {self.promise_tolerance_s:g} s are lost."
            )
        elif self.cut_short and lost_s <= 0.0:
            said.append(
                f"The recording is cut short: {seconds_read:.1f} s were read, and how much is "
                "missing cannot be told."
            )
        elif lost_s > 0.0:
            what = "is cut short" if self.cut_short else "is damaged or cut short"
            said.append(
                f"The recording {what}: {seconds_read:.1f} s were read and about "
                f"{lost_s:.1f} s are lost."
            )
        elif self.packets_failed and not said:
            said.append(
                "Small parts of the recording could not be decoded and were left out: "
                f"{self.packets_failed}."
            )
        return said


def quality_sentences(
    *,
    sample_rate_hz: int,
    level_db: float,
    clipped_share: float,
    own_ceiling: float | None,
    not_finite: int,
    silent: bool,
    silent_channels: tuple[int, ...],
) -> list[str]:
    """The warnings about how the recording sounds; parameters as in `ReadingReport`."""
    said: list[str] = []
    if silent:
        said.append(
            "The recording is silent: the microphone was probably blocked, or the app was not "
            "permitted to use it."
        )
    elif level_db < QUIET_DB:
        said.append(
            f"The recording is very quiet ({level_db:.0f} dB of full scale): hold the phone "
            "closer, and check that nothing covers its microphone."
        )
    if silent_channels and not silent:
        which = " and ".join(str(number) for number in silent_channels)
        said.append(f"Channel {which} is silent; only the others carry sound.")
    if clipped_share >= CLIPPED_SHARE_WORTH_SAYING and own_ceiling is not None:
        said.append(
            f"The recording is clipped: {_percent(clipped_share)} of the samples are flattened at "
            f"{_percent(own_ceiling)} of full scale, where something before the file ran out of "
            "room; that adds overtones that the engine does not make. Hold the phone further "
            "away, or turn the recording level down."
        )
    elif clipped_share >= CLIPPED_SHARE_WORTH_SAYING:
        said.append(
            f"The recording is clipped: {_percent(clipped_share)} of the samples are flattened at "
            "full scale, which adds overtones that the engine does not make. Hold the phone "
            "further away, or turn the recording level down."
        )
    if sample_rate_hz <= PHONE_CALL_RATE_HZ:
        said.append(
            f"The recording holds nothing above {sample_rate_hz / 2000:g} kHz (it was made like a "
            "phone call): bearing noise above that cannot be heard in it. Use the phone's "
            "recorder or camera instead."
        )
    if not_finite:
        said.append(f"{not_finite} samples were no valid numbers and were set to 0.")
    return said


def _percent(share: float) -> str:
    """A share in per cent with two figures that count.

    >>> _percent(0.0123), _percent(0.00021), _percent(0.5)
    ('1.2 %', '0.021 %', '50 %')
    """
    return f"{100.0 * share:.2g} %"
