"""The virtual panel: state machine, register image, Modbus server. Encodes; never judges."""
