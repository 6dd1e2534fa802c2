"""Problems with an answer on paper, in plain NumPy and SciPy, written without the solver they judge.

Conventions as everywhere: amplitudes rms, time factor exp(+jωt), admittivity y = σ + jωε₀ε_r.
"""
