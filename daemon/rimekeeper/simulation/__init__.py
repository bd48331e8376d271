"""The physical kitchen for demo, tests and benchmarks: invented equipment, honest heat balances, real wires.

``mix`` holds heat, ``stove``, ``cooling`` and ``rooms`` move it, ``instruments`` read it. ``workshop`` puts them
in one room, ``following`` moves the mix when a batch moves on, and ``crew`` are its people. On these stand the
``scenario`` that is played live and the ``history`` before it; ``ports``, ``broker`` and ``pager`` are the real
ends, and ``demo`` sets everything up in one folder.
"""
