"""Edges that bring samples in: serial ports, brokers, files.

An intake is an :class:`~rimekeeper.runtime.ports.Intake`: ``start`` returns at once and works in a thread of its
own; what it hears goes to the inbox as deliveries, how it is goes there as reports, nothing is raised. It decodes
with ``core.decoding`` and decides nothing.

To add one: a settings table in ``config.edges``; a module here with a class that takes
``(settings, inbox, clock)``, opens its device in its thread, waits with :class:`~.backoff.Backoff` after every
failure, reports through :class:`~.reporter.Reporter`, and stops within a second; and a line in ``app`` where the
intakes of a kitchen are built. A new way to read lines or payloads is not an intake: see ``core.decoding``.

| module | what it is |
| --- | --- |
| ``port_thread`` | what every port has in common: its thread, coming back, stopping |
| ``serial_port`` | one serial port; ``serial_open`` opens it, ``asking`` keeps late answers apart, ``ports_seen`` lists ports |
| ``modbus_port`` | one Modbus RTU line; ``modbus_line`` asks one question at a time, ``modbus_frames`` tells answers from damage and strangers, ``modbus_blocks`` groups registers, ``modbus_units`` knows whom to leave alone, ``modbus_wording`` says it |
| ``mqtt`` | one broker; ``mqtt_connection`` is one connection, ``mqtt_question`` finds the protocol, ``mqtt_topics`` reads messages, ``mqtt_outgoing`` sends, ``mqtt_buttons`` acts on presses |
| ``replay`` | a CSV file; ``replay_rows`` reads its rows |
| ``look`` | what is seen right now, for ``rimekeeper probes`` |
"""
