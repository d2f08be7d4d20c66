"""What a study is: its plan, ballot, answers, life and seal. Pure: no database, no HTTP, no clock."""
