"""The sections of the studio's part of the page: jobs, clays, slips, molds, and the library's file."""
