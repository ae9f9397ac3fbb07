"""Why no weather came, and whether asking again soon may help."""


class WeatherServiceError(Exception):
    """The service gave no weather that can be used.

    Attributes
    ----------
    code
        Short and stable: ``unreachable``, ``timeout``, ``status_429``, ``not_json``, ``units``.
    is_passing
        Whether the same question may be answered in a moment.
    again_in_s
        When the service itself says to ask again; None where it does not. [s]
    """

    def __init__(self, code: str, *, is_passing: bool = False, again_in_s: float | None = None) -> None:
        super().__init__(code)
        self.code, self.is_passing, self.again_in_s = code, is_passing, again_in_s
