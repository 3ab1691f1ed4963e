//! Everything that is tested through the command line or the public interface: one binary, so that the tables are linked once.
