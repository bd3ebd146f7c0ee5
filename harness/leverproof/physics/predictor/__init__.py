"""The predictor: what an engine sheet implies in steady state, with a band from sampling the doubtful coefficients.

It shares with any engine model only :mod:`leverproof.physics.relations`. One operating point is one root of one
residual in the exhaust back pressure (:mod:`.points`), vectorised over samples and altitudes.
"""
