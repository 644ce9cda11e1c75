"""From failed steps to the fault behind them, and the probe that settles it."""
