"""An invented shop's batch, for the demonstration."""
