"""Ways to mount a model: in this process, as a child process, and the reference engine that ships with the
harness.

Each is an entry point of the group ``leverproof.stands``; the harness finds them there and imports none of
them.
"""
