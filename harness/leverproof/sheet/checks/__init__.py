"""What an engine sheet's numbers say of one another: contradictions, and what physics makes doubtful."""
