"""leverproof: scripted lever sequences into any engine model, judged against reference cases."""

__version__ = "0.1.0"

CAUTION = (
    "Simulated engines only. Nothing here is for operating a real aircraft: the approved manual, "
    "local rules and licensed people decide."
)
