"""A setting that is printed and never read tells a shop that it chose something."""

from importlib.resources import files

from ringland.settings.assumptions import load_assumptions
from tests.pipelines.demo_run import DemoRun

NOT_BY_THE_DEMO = {
    "octane_scale.ruled_out_chance": "every number of the demo's files carries its scale",
    "planning.risk_tail": "asked for where planning.risk_weight is above 0",
    "network.least_apart": "asked for where the operators of a network share effects",
    "network.least_failures": "asked for where the operators of a network share effects",
}
"""Settings the demo has no use for, and why."""


def test_every_setting_is_read_when_the_demo_is_worked_out(demo: DemoRun) -> None:
    named = files("ringland.decision.actions").joinpath("action_catalogue.toml").read_text("utf-8")
    unread = [
        name
        for name in load_assumptions()
        if name not in demo.settings_asked and f'setting = "{name}"' not in named
    ]

    assert unread == list(NOT_BY_THE_DEMO)
