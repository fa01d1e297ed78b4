"""A small pneumatic model of a breast pump on a bench, the gauge that logs it, and the files a gauge writes.

Units inside: seconds, millilitres, mmHg (conventional, 133.322387415 Pa). Vacuum is positive, below ambient.
"""
