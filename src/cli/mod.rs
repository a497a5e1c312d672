//! The command line: arguments, the subcommands, what they print. Data goes to stdout, talk and
//! progress to stderr.
