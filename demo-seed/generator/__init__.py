"""The invented employer of the demonstration, built from a fixed seed."""
