"""The ledger in its database: with app.migrations the only place that holds SQL."""
