"""CAN adapters."""
