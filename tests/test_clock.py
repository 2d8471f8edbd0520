"""The embargo clock counts only time that provably passed."""

from dataclasses import dataclass

from hypothesis import given
from hypothesis import strategies as st

from relay.shell.record.clock import ClockMark, EmbargoClock, MachineTime


@dataclass
class SetTime:
    """A time source that a test sets."""

    boot: str = "first boot"
    us: int = 1_000_000
    wall: float = 1_700_000_000.0

    def boot_id(self) -> str:
        """Return the boot the test is in."""
        return self.boot

    def boot_us(self) -> int:
        """Return the microseconds the test has set."""
        return self.us

    def wall_s(self) -> float:
        """Return the wall clock the test has set."""
        return self.wall


def test_clock_begins_at_zero_and_counts_on() -> None:
    """A new site's clock begins at zero, whatever the machine's has reached."""
    time = SetTime(us=987_654_321)
    clock = EmbargoClock(time)
    assert clock.now_us() == 0
    time.us += 5_000_000
    assert clock.now_us() == 5_000_000


def test_clock_counts_the_downtime_of_the_process_within_one_boot() -> None:
    """CLOCK_BOOTTIME goes on while the process is down, and so does the embargo."""
    time = SetTime()
    mark = EmbargoClock(time).mark
    time.us += 40_000_000
    assert EmbargoClock(time, mark, 2_000_000).now_us() == 40_000_000


def test_clock_counts_downtime_across_a_reboot_as_zero() -> None:
    """After a reboot it goes on from the last moment the journal proves."""
    mark = EmbargoClock(SetTime()).mark
    time = SetTime(boot="second boot", us=77)
    clock = EmbargoClock(time, mark, 2_000_000)
    assert clock.now_us() == 2_000_000
    time.us += 10
    assert clock.now_us() == 2_000_010


@given(
    st.lists(
        st.tuples(st.integers(0, 10**6), st.floats(-1e12, 1e12), st.sampled_from(["run", "restart", "reboot"])),
        max_size=30,
    )
)
def test_clock_never_goes_back_or_ahead_of_the_time_that_passed(steps: list[tuple[int, float, str]]) -> None:
    """Over any mix of restarts, reboots and wall-clock steps: monotone, and never more than the true elapsed time."""
    time, elapsed = SetTime(), 0
    clock = EmbargoClock(time)
    before = clock.now_us()
    for passed_us, wall_s, event in steps:
        time.us, time.wall, elapsed = time.us + passed_us, wall_s, elapsed + passed_us
        last = clock.now_us()
        if event == "restart":
            clock = EmbargoClock(time, clock.mark, last)
        elif event == "reboot":
            time.boot, time.us = time.boot + "!", 0
            clock = EmbargoClock(time, clock.mark, last)
        assert before <= clock.now_us() <= elapsed
        before = clock.now_us()


def test_clock_holds_still_if_the_machines_clock_goes_back() -> None:
    """A boot clock that goes back (it never should) stops the embargo instead of rewinding it."""
    time = SetTime()
    clock = EmbargoClock(time, ClockMark("first boot", 0))
    before = clock.now_us()
    time.us -= 500_000
    assert clock.now_us() == before


def test_clock_reads_at_least_what_is_proven_from_elsewhere_and_counts_on_from_its_own() -> None:
    """A row or a recording proves that a moment had come; the clock stands there until its own count is past it."""
    time = SetTime(boot="second boot")
    clock = EmbargoClock(time, ClockMark("first boot", 0), 5_000_000, 6_000_000)
    assert (clock.now_us(), clock.counted_us()) == (6_000_000, 5_000_000)
    clock.prove(7_000_000)
    clock.prove(6_500_000)
    time.us += 1_500_000
    assert (clock.now_us(), clock.counted_us()) == (7_000_000, 6_500_000)
    time.us += 600_000
    assert clock.now_us() == clock.counted_us() == 7_100_000


def test_machine_time_is_of_this_boot_and_counts_on() -> None:
    """The machine's boot id is the kernel's, and its clock never goes back."""
    time = MachineTime()
    assert time.boot_id() == MachineTime().boot_id()
    assert time.boot_us() <= time.boot_us()
