"""The contract between drivers, ledger, geometry and views: values, units, frames, profiles, errors. No I/O."""
