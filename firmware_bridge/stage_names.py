"""The stages of a session, as recordings and cart files name them."""

STAGES = (
    "identification",
    "recovery",
    "pressure_hold",
    "evacuation",
    "vacuum_hold",
    "oil_and_dye",
    "charging",
    "performance",
    "closed",
)

REFILL_REMINDER = "refill_before_repair"
"""Beside the stages in a cart file's [reminders]: what is said when a leak is about to be refilled."""
