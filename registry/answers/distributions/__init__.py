"""How a pump model behaves at each setting, build by build, over all clinics."""
