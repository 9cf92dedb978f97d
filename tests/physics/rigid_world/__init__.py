"""Another physics for rehearsals: rigid bodies, contact and friction, by a general-purpose engine.

Nothing is shared with the project's own bench, neither code nor constants. Measures and coefficients are of common
handbook size; where one says 'from memory', nobody has looked it up.
"""
