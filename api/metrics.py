"""Counts and times of the service, in the text format that Prometheus reads."""

from __future__ import annotations

import threading
from bisect import bisect_left
from collections import defaultdict

BOUNDS_S = (0.05, 0.1, 0.3, 0.5, 1.0, 1.5, 3.0, 10.0)


class Metrics:
    """Requests by route and status, with a histogram of their times."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._requests: dict[tuple[str, str, int], int] = defaultdict(int)
        self._times: dict[str, list[int]] = defaultdict(lambda: [0] * (len(BOUNDS_S) + 1))
        self._sums: dict[str, float] = defaultdict(float)
        self._under_way = 0

    def begin(self) -> None:
        """Note that a request has come."""
        with self._lock:
            self._under_way += 1

    def busy(self) -> bool:
        """Say whether a request is being answered just now."""
        return self._under_way > 0

    def count(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count one request that has been answered."""
        with self._lock:
            self._under_way -= 1
            self._requests[method, route, status] += 1
            self._times[route][bisect_left(BOUNDS_S, seconds)] += 1
            self._sums[route] += seconds

    def text(self, gauges: dict[str, float]) -> str:
        """Return everything counted, and the gauges given."""
        with self._lock:
            lines = ["# TYPE dipstep_requests_total counter"]
            for (method, route, status), count in sorted(self._requests.items()):
                labels = f'method="{method}",route="{route}",status="{status}"'
                lines.append(f"dipstep_requests_total{{{labels}}} {count}")
            lines.append("# TYPE dipstep_request_seconds histogram")
            for route, counts in sorted(self._times.items()):
                lines += self._histogram(route, counts)
        for name, value in gauges.items():
            lines += [f"# TYPE dipstep_{name} gauge", f"dipstep_{name} {value:g}"]
        return "\n".join(lines) + "\n"

    def _histogram(self, route: str, counts: list[int]) -> list[str]:
        lines, total = [], 0
        for bound, count in zip((*map(str, BOUNDS_S), "+Inf"), counts, strict=True):
            total += count
            labels = f'route="{route}",le="{bound}"'
            lines.append(f"dipstep_request_seconds_bucket{{{labels}}} {total}")
        lines.append(f'dipstep_request_seconds_sum{{route="{route}"}} {self._sums[route]:.3f}')
        lines.append(f'dipstep_request_seconds_count{{route="{route}"}} {total}')
        return lines
