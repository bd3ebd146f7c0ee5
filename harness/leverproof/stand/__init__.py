"""The stand: how a model is mounted, what is asked of it, and the wire protocol for models in any
language."""
