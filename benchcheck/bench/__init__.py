"""All hardware: meters, supplies, CAN adapters, serial ports."""
