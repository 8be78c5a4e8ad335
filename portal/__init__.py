"""Benchwindow: the window between a repair bench and the people who own what lies on it.

Arrows run one way: `web` and `cli` call `actions`; `actions` use `rules`, `store` and `notifications`; `rules` import
nothing of ours. `main` is the one place that puts the parts together and the only one that reads the environment.
"""
