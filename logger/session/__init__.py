"""One session: its setup, stages, alerts and review, computed by one pipeline live and in replay."""
