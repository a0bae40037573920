"""How a motor burns: burnback, the pressure that balances the nozzle, the steady and the transient kernel.

`kernel.evaluate` is the way in. Imports the rest of physics that lies below: motors, materials, figures, constants.
"""
