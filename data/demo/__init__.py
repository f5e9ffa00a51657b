"""An invented shop's batch, its boxes and what they taught, for the demonstration."""
