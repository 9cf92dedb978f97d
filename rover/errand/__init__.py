"""The errand's bookkeeping: objects found, delivered and put off, slots of the tray, searched ground."""
