"""What brings a job and the pipeline together: its points, calibrations, comparison and report."""
