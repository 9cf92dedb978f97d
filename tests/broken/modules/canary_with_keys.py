"""Drivers whose keys are declared beside them; no check may import them."""


class Sonar: ...


class Beacon: ...


class Lamp: ...
