"""Counts checks and prints them; a script ends with `sys.exit(checks.end())`."""


class Checks:
    def __init__(self):
        self.passed = 0
        self.failed = 0

    def that(self, holds, text):
        """One check. Only failures are printed."""
        if holds:
            self.passed += 1
        else:
            self.failed += 1
            print(f"FAILED: {text}", flush=True)
        return bool(holds)

    def near(self, value, expected, tolerance, text):
        return self.that(
            abs(value - expected) <= tolerance,
            f"{text}: {value!r}, expected {expected!r} within {tolerance:.3g}",
        )

    def end(self):
        print(f"{self.passed} checks held, {self.failed} did not", flush=True)
        return 1 if self.failed else 0
