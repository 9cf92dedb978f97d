"""The names that the tests of conditions use: settings of every kind, the errand's words."""

from rover import quantities
from rover.behaviour.conditions import Scope
from rover.behaviour.settings import SettingValue
from rover.kinds import Choice, Number, Truth

SCOPE = Scope(
    {
        "near": SettingValue(0.22, Number(quantities.LENGTH)),
        "course": SettingValue(1.5, Number(quantities.ANGLE)),
        "most": SettingValue(3, Number(whole=True)),
        "on": SettingValue(True, Truth()),
        "lid": SettingValue("teal", Choice()),
        "in": SettingValue(0.254, Number(quantities.LENGTH)),
    },
    outcomes=True,
    words=frozenset({"amber", "teal", "violet", "none"}),
)
