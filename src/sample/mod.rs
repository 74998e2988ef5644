//! The invented session of the demo: circuit, drivers, log, footage and the truth behind them.
