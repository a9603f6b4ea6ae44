"""What the service counts about itself, for Prometheus. Nothing about anybody."""

from __future__ import annotations

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, generate_latest


class Metrics:
    """One registry for one running service."""

    def __init__(self) -> None:
        self.registry = CollectorRegistry()
        self.requests = Counter(
            "intervouch_requests_total",
            "Requests answered, by route, method and status",
            ("route", "method", "status"),
            registry=self.registry,
        )
        self.request_seconds = Histogram(
            "intervouch_request_seconds",
            "How long answers took",
            ("route", "method"),
            registry=self.registry,
        )
        self.uploads = Counter(
            "intervouch_uploads_total",
            "Uploaded files, by what became of them",
            ("outcome",),
            registry=self.registry,
        )
        self.reconciliations = Counter(
            "intervouch_reconciliations_total",
            "Runs of the engine, by how they ended",
            ("outcome",),
            registry=self.registry,
        )
        self.reconcile_seconds = Histogram(
            "intervouch_reconcile_seconds",
            "How long a class took to reconcile",
            registry=self.registry,
            buckets=(0.1, 0.25, 0.5, 1, 2, 4, 8, 16, 32, 64, 128),
        )
        self.waiting = Gauge(
            "intervouch_classes_waiting",
            "Classes whose result is older than what it rests on",
            registry=self.registry,
        )

    def text(self) -> bytes:
        """Everything in Prometheus's text format."""
        return generate_latest(self.registry)
