"""Accounts, and what people and machines are to a tank.

Flow     use cases, guard -> **accounts** -> tables

=============  ===========================================================================
`tokens`       what opens something: drawn, shown once, kept as its hash
`people`       accounts: address, password's hash, second factor
`sessions`     browsers that are let in
`grants`       households, installers' jobs, supply links: the relations to a tank
`keys`         keys of devices and hubs
`invitations`  addresses that work once
`attempts`     failures in a row
`pairing`      codes for the phones of a home
`erasures`     what was erased, and that no trace is left
`belongings`   which rows are whose: the register behind export and erasure
=============  ===========================================================================
"""
