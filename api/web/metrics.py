"""What a process counts of its requests: how many, and how long they took, by route.

- Routes are the templates of addresses, so a figure never holds an id; what is no route of ours is ``other``.
- Each process counts its own: with several workers, an answer has the figures of the worker that answers.
"""

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram

_BUCKETS_S = (0.002, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)


class Metrics:
    """The figures of one process."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        self.requests = Counter(
            "baizebook_requests", "Requests answered.", ("method", "route", "status"), registry=self.registry
        )
        self.latency = Histogram(
            "baizebook_request_seconds",
            "Time to answer a request.",
            ("route",),
            buckets=_BUCKETS_S,
            registry=self.registry,
        )
        self.ledger_verified = Gauge(
            "baizebook_ledger_verified_entry",
            "The last entry up to which the books were found sound, when this process last checked them; 0: never.",
            registry=self.registry,
        )

        self._of_labels: dict[tuple[str, str, int], tuple[Counter, Histogram]] = {}

    def count(self, *, method: str, route: str, status: int, seconds: float) -> None:
        """Count a request."""
        labels = (method, route, status)
        if labels not in self._of_labels:
            self._of_labels[labels] = self.requests.labels(method, route, str(status)), self.latency.labels(route)
        requests, latency = self._of_labels[labels]
        requests.inc()
        latency.observe(seconds)
