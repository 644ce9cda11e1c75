"""Sound harnesses of different character review clean; one mistake in one of them is told by one rule, at its place."""

from __future__ import annotations

from dataclasses import dataclass

import more_bays
import pytest
from more_bays import BULKHEAD, CHAIN, LISTENERS, LONG_RUNS, PASSED_ON, REDUNDANT, STEP_UP, TWO_BUSES, Files
from sample_profile import Change

from benchcheck.harness.feed_currents import FeedCurrents
from benchcheck.harness.reading.read_harness import read_harness, read_partly
from benchcheck.harness.review.rule import Finding, review

H, P = "harness.toml", "pins.csv"


@dataclass(frozen=True)
class Case:
    """Changes to a sound profile; the one rule that must tell of them (none: still sound), how often, and where first."""

    files: Files
    rule: str
    count: int
    where: tuple[str, ...]
    changes: tuple[Change, ...]


def case(files: Files, rule: str, count: int, where: tuple[str, ...], *changes: Change) -> Case:
    return Case(files, rule, count, where, changes)


def changed(files: Files, *changes: Change) -> dict[str, str]:
    texts = dict(files)
    for file, old, new in changes:
        assert texts[file].count(old) == 1, f"{old!r} is {texts[file].count(old)} times in {file}"
        texts[file] = texts[file].replace(old, new)
    return texts


def reviewed(files: Files) -> tuple[Finding, ...]:
    told = read_partly("bay", dict(files), databases=more_bays.databases(files))
    assert told.harness is not None, told.faults
    assert all(fault.code for fault in told.faults), told.faults
    return review(told.harness, told.faults)


CASES = [
    case(CHAIN, 'contact_unknown', 1, ('P11-16', 'B1'), (P, 'B1,P11-9,P11-10', 'B1,P11-9,P11-16')),
    case(CHAIN, 'contact_unknown', 1, ('P15-1', 'W24'), (P, 'W24,P13-3,P14-1', 'W24,P13-3,P15-1')),
    case(CHAIN, 'contact_unknown', 1, ('P12-0', 'W6'), (P, 'W6,P12-7', 'W6,P12-0')),
    case(TWO_BUSES, 'contact_unknown', 1, ('P42-H', 'W33'), (P, 'W33,P41-F,P42-F', 'W33,P41-F,P42-H')),
    case(TWO_BUSES, 'contact_unknown', 1, ('P45-2', 'X1'), (P, 'X1,P45-centre', 'X1,P45-2')),
    case(TWO_BUSES, 'contact_unknown', 1, ('SP7', 'W26'), (P, 'W26,SP5,', 'W26,SP7,')),
    case(TWO_BUSES, 'contact_unknown', 1, ('GND3', 'W10'), (P, 'W10,P44-2,GND1', 'W10,P44-2,GND3')),
    case(LONG_RUNS, 'contact_unknown', 1, ('TB1-7', 'W1'), (P, 'W1,TB1-2,', 'W1,TB1-7,')),
    case(CHAIN, 'contact_unknown', 1, ('P11-rng', 'S1'), (P, 'S1,P11-ring', 'S1,P11-rng')),
    case(CHAIN, 'contact_used_twice', 1, ('P12-13', 'W32'), (P, 'W31,P11-12,P12-11', 'W31,P11-12,P12-13')),
    case(CHAIN, 'contact_used_twice', 1, ('P11-6', 'W5'), (P, 'W5,P11-7,', 'W5,P11-6,')),
    case(CHAIN, 'contact_used_twice', 1, ('P13-1', 'W23'), (P, 'W23,P12-4,P13-2', 'W23,P12-4,P13-1')),
    case(TWO_BUSES, 'contact_used_twice', 1, ('P44-3', 'W12'), (P, 'W10,P44-2,GND1,22', 'W10,P44-3,GND1,24')),
    case(TWO_BUSES, 'contact_used_twice', 1, ('P42-C', 'W33'), (P, 'W33,P41-F,P42-F', 'W33,P41-F,P42-C')),
    case(LONG_RUNS, 'contact_used_twice', 1, ('TB1-5', 'W12'), (P, 'W4,P22-B,GND1', 'W4,P22-B,TB1-5')),
    case(LONG_RUNS, 'contact_used_twice', 1, ('P24-3', 'W11'), (P, 'W11,P24-4,', 'W11,P24-3,')),
    case(TWO_BUSES, 'contact_used_twice', 1, ('P41-A', 'W32'), (P, 'W32,P41-E,', 'W32,P41-A,')),
    case(TWO_BUSES, 'contact_overfilled', 1, ('P44-3', 'W11', 'W12'), (P, 'W11,P44-3,GND1,24', 'W11,P44-3,GND1,22')),
    case(CHAIN, 'gauge_contact_size', 2, ('P11-13', 'W32'), (P, 'W32,P11-13,P12-13,24', 'W32,P11-13,P12-13,26')),
    case(TWO_BUSES, 'gauge_contact_size', 1, ('P41-A', 'W2'), (P, 'W2,SP1,P41-A,22', 'W2,SP1,P41-A,18')),
    case(STEP_UP, 'gauge_contact_size', 1, ('P31-B', 'W2'), (P, 'W2,P31-B,GND1,18', 'W2,P31-B,GND1,14')),
    case(CHAIN, 'gauge_contact_size', 2, ('P11-9', 'B1'), (P, 'B1,P11-9,P11-10,22', 'B1,P11-9,P11-10,26')),
    case(CHAIN, 'forgotten_run', 1, ('P13-7',), (P, 'W7,P13-7,GND7,22,3.0,ground,,,black,\n', '')),
    case(CHAIN, 'forgotten_run', 1, ('P11-6',), (P, 'W1,TB7-2,P11-6,22,1.0,power,,,red,\n', '')),
    case(LONG_RUNS, 'forgotten_run', 1, ('P24-2',), (P, 'W9,TB1-4,P24-2,22,0.5,power,,,,\n', '')),
    case(LONG_RUNS, 'forgotten_run', 1, ('P24-1',), (P, 'W8,SP1,P24-1,22,0.5,power,,,,\n', '')),
    case(LONG_RUNS, 'forgotten_run', 1, ('P24-4',), (P, 'W11,P24-4,GND1,22,0.6,ground,,,,\n', '')),
    case(LONG_RUNS, 'forgotten_run', 2, ('P22-C',), (P, 'W5,P22-C,P23-1,20,40.0,power,,,,\n', '')),
    case(STEP_UP, 'forgotten_run', 1, ('P33-5',), (P, 'W8,P33-5,P34-5,24,4.0,signal,C1,,,\n', '')),
    case(STEP_UP, 'forgotten_run', 1, ('P31-A',), (P, 'W1,TB3-2,P31-A,18,1.0,power,,,,\n', '')),
    case(STEP_UP, 'forgotten_run', 1, ('P31-B',), (P, 'W2,P31-B,GND1,18,1.0,ground,,,,\n', '')),
    case(TWO_BUSES, 'forgotten_run', 1, ('P43-6',), (P, 'W26,SP5,P43-6,22,0.4,can_h,K4,,,\n', '')),
    case(TWO_BUSES, 'forgotten_run', 2, ('P45-centre',), (P, 'X1,P45-centre,P46-centre,,7.0,coax,K8,S8,,\n', '')),
    case(TWO_BUSES, 'forgotten_run', 1, ('P41-C',), (P, 'W20,P41-C,SP3,22,6.0,can_h,K1,S1,,\n', '')),
    case(TWO_BUSES, 'forgotten_run', 1, ('P44-1',), (P, 'W5,SP1,P44-1,22,1.0,power,,,,\n', '')),
    case(CHAIN, 'run_with_one_end', 1, ('W23',), (P, 'W23,P12-4,P13-2', 'W23,P12-4,')),
    case(CHAIN, 'run_with_one_end', 1, ('W32',), (P, 'W32,P11-13,P12-13', 'W32,,P12-13')),
    case(CHAIN, 'run_with_one_end', 1, ('B2',), (P, 'B2,P14-9,P14-10', 'B2,P14-9,')),
    case(TWO_BUSES, 'run_with_one_end', 1, ('W24',), (P, 'W24,SP3,SP5', 'W24,SP3,')),
    case(TWO_BUSES, 'run_with_one_end', 1, ('X1',), (P, 'X1,P45-centre,P46-centre', 'X1,P45-centre,')),
    case(STEP_UP, 'run_with_one_end', 1, ('W4',), (P, 'W4,P32-6,P33-2', 'W4,,P33-2')),
    case(TWO_BUSES, 'run_with_one_end', 1, ('W9',), (P, 'W9,SP2,GND1', 'W9,SP2,')),
    case(CHAIN, 'tx_to_tx', 1, ('P11-11', 'P12-11'), (P, 'W30,P11-11,P12-12', 'W30,P11-11,P12-11'), (P, 'W31,P11-12,P12-11,24,2.0,rs232_rx,C4,S4,,\n', '')),
    case(CHAIN, 'link_crossed_twice', 1, ('P11-11', 'P12-11', 'P11-12', 'P12-12'), (P, 'W30,P11-11,P12-12', 'W30,P11-11,P12-11'), (P, 'W31,P11-12,P12-11', 'W31,P11-12,P12-12')),
    case(CHAIN, 'link_crossed_twice', 1, ('P11-11', 'P12-11', 'P11-12', 'P12-12'), (P, 'W30,P11-11,P12-12', 'W30,P11-12,P12-12'), (P, 'W31,P11-12,P12-11', 'W31,P11-11,P12-11')),
    case(CHAIN, 'rx_to_rx', 1, ('P11-12', 'P12-12'), (P, 'W30,P11-11,P12-12', 'W30,P11-12,P12-12'), (P, 'W31,P11-12,P12-11,24,2.0,rs232_rx,C4,S4,,\n', '')),
    case(CHAIN, 'link_not_joined', 1, ('P12-11', 'P11-12'), (P, 'W31,P11-12,P12-11,24,2.0,rs232_rx,C4,S4,,\n', '')),
    case(CHAIN, 'link_one_way', 1, ('depth', 'P11-11', 'P12-12'), (P, 'W30,P11-11,P12-12,24,2.0,rs232_tx,C4,S4,,\n', ''), (H, '[[links.talks]]\ntx = "P11-11"\nrx = "P12-12"\ntypes = ["GPZDA"]\n', '')),
    case(CHAIN, 'link_without_return', 1, ('depth', 'P12-13'), (P, 'W32,P11-13,P12-13,24,2.0,signal,C4,S4,,\n', '')),
    case(CHAIN, 'link_without_return', 1, ('depth', 'P12-13'), (P, 'W32,P11-13,', 'W32,P11-14,')),
    case(CHAIN, 'can_pair_crossed', 2, ('P12-3', 'P13-2'), (P, 'W22,P12-3,P13-1', 'W22,P12-3,P13-2'), (P, 'W23,P12-4,P13-2', 'W23,P12-4,P13-1')),
    case(TWO_BUSES, 'can_pair_crossed', 2, ('P43-6', 'P41-D'), (P, 'W26,SP5,P43-6', 'W26,SP5,P43-7'), (P, 'W27,SP6,P43-7', 'W27,SP6,P43-6')),
    case(TWO_BUSES, 'can_pair_crossed', 2, ('P41-E', 'P42-F'), (P, 'W32,P41-E,P42-E', 'W32,P41-E,P42-F'), (P, 'W33,P41-F,P42-F', 'W33,P41-F,P42-E')),
    case(STEP_UP, 'mixed_net', 1, ('P33-5', 'P34-1', 'P34-5'), (P, 'W5,TB3-3,P34-1', 'W5,TB3-3,P34-5'), (P, 'W8,P33-5,P34-5', 'W8,P33-5,P34-1')),
    case(CHAIN, 'mixed_net', 1, ('P11-6', 'P12-13', 'P11-13'), (P, 'W1,TB7-2,P11-6', 'W1,TB7-2,P11-13'), (P, 'W32,P11-13,', 'W32,P11-6,')),
    case(CHAIN, 'mixed_net', 1, ('GND7', 'P14-6', 'P14-7'), (P, 'W4,TB7-5,P14-6,22', 'W4,TB7-5,P14-7,22'), (P, 'W8,P14-7,', 'W8,P14-6,')),
    case(TWO_BUSES, 'mixed_net', 2, ('P41-C', 'P42-A'), (P, 'W20,P41-C,SP3', 'W20,P41-A,SP3'), (P, 'W2,SP1,P41-A', 'W2,SP1,P41-C')),
    case(LONG_RUNS, 'feeds_joined', 1, ('TB1-1', 'P22-C'), (P, 'W13,P22-D,GND1', 'W99,P22-C,TB1-3,20,0.5,power,,,,\nW13,P22-D,GND1'), (H, 'doubles = ["4"]', 'doubles = ["3","4"]'), (H, 'doubles = ["D"]', 'doubles = ["C", "D"]')),
    case(STEP_UP, 'feeds_joined', 1, ('TB3-1', 'P32-1'), (H, '[[parts]]\nref = "F2"', '[[parts]]\nref = "SW1"\nkind = "switch"\nfrom = "TB3-2"\nto = "P32-1"\n[[parts]]\nref = "F2"')),
    case(CHAIN, 'can_not_a_line', 1, ('spine', 'P11-1', 'P11-3', 'P12-1', 'P12-3', 'P13-1', 'P13-3', 'P14-1', 'P14-3'), (P, 'B1,P11-9', 'W26,P14-3,P11-1,24,3.0,can_h,C6,,,\nW27,P14-4,P11-2,24,3.0,can_l,C6,,,\nB1,P11-9')),
    case(TWO_BUSES, 'parallel_runs', 2, ('W24', 'W44'), (P, 'W22,SP3,P42-C,22,0.3', 'W22,SP5,P42-C,22,0.3'), (P, 'W23,SP4,P42-D,22,0.3', 'W23,SP6,P42-D,22,0.3'), (P, 'W24,SP3,SP5,22,2.0,can_h,K3,,,', 'W24,SP3,SP5,22,2.0,can_h,K3,,,\nW44,SP3,SP5,22,3.0,can_h,K9,,,\nW45,SP4,SP6,22,3.0,can_l,K9,,,')),
    case(TWO_BUSES, 'can_branch_too_long', 1, ('one', 'SP5', 'P43-6'), (P, 'W26,SP5,P43-6,22,0.4', 'W26,SP5,P43-6,22,1.3'), (P, 'W27,SP6,P43-7,22,0.4', 'W27,SP6,P43-7,22,1.3')),
    case(TWO_BUSES, 'can_branch_too_long', 1, ('one', 'SP5', 'P190-2'), (P, 'W30,SP5,P190-2,22,0.5', 'W30,SP5,P190-2,22,4.5'), (P, 'W31,SP6,P190-7,22,0.5', 'W31,SP6,P190-7,22,4.5')),
    case(TWO_BUSES, 'can_branch_too_long', 2, ('one', 'SP5', 'P190-2'), (H, 'adapter_at = "P190"', 'adapter_at = "P190"\nmax_stub_m = 0.39')),
    case(TWO_BUSES, 'can_branch_too_long', 1, ('one', 'SP6', 'P43-7'), (P, 'W27,SP6,P43-7,22,0.4', 'W27,SP6,P43-7,22,1.3')),
    case(CHAIN, 'can_terminators', 1, ('spine',), (P, 'B1,P11-9,P11-10,22,0.05,bridge,,,,\n', '')),
    case(CHAIN, 'can_terminators', 1, ('spine',), (P, 'B2,P14-9,P14-10,22,0.05,bridge,,,,\n', '')),
    case(CHAIN, 'can_terminators', 1, ('spine',), (P, 'B2,P14-9', 'B3,P13-9,P13-10,22,0.05,bridge,,,,\nB2,P14-9')),
    case(CHAIN, 'can_terminators_not_at_ends', 1, ('spine', 'P14-1'), (P, 'B2,P14-9,P14-10', 'B2,P13-9,P13-10')),
    case(CHAIN, 'can_terminators_not_at_ends', 1, ('spine', 'P11-3'), (P, 'B1,P11-9,P11-10', 'B1,P12-9,P12-10')),
    case(CHAIN, 'can_terminators', 1, ('spine',), (H, '[[buses]]', '[[parts]]\nref = "RT9"\nkind = "terminator"\nfrom = "P14-1"\nto = "P14-2"\nohm = 120.0\n[[buses]]')),
    case(TWO_BUSES, 'can_terminators', 1, ('one',), (H, '[[parts]]\nref = "RT2"\nkind = "terminator"\nfrom = "P44-6"\nto = "P44-7"\nohm = 120.0\n', '')),
    case(TWO_BUSES, 'can_terminators', 1, ('two',), (H, '[[parts]]\nref = "RT4"\nkind = "terminator"\nfrom = "P42-E"\nto = "P42-F"\nohm = 120.0\n', '')),
    case(TWO_BUSES, 'can_terminators_not_at_ends', 1, ('one', 'P44-6'), (H, 'from = "P44-6"\nto = "P44-7"', 'from = "P42-C"\nto = "P42-D"')),
    case(TWO_BUSES, 'can_terminators_not_at_ends', 1, ('two', 'P42-E'), (H, 'from = "P42-E"\nto = "P42-F"', 'from = "P41-F"\nto = "P41-E"')),
    case(TWO_BUSES, 'can_terminators_not_at_ends', 1, ('one', 'P44-6'), (H, 'from = "P44-6"\nto = "P44-7"', 'from = "P190-2"\nto = "P190-7"')),
    case(CHAIN, 'can_too_long', 1, ('spine',), (P, 'W22,P12-3,P13-1,24,3.0', 'W22,P12-3,P13-1,24,97'), (P, 'W23,P12-4,P13-2,24,3.0', 'W23,P12-4,P13-2,24,97')),
    case(TWO_BUSES, 'can_too_long', 1, ('two',), (P, 'W32,P41-E,P42-E,22,7.0', 'W32,P41-E,P42-E,22,40.1'), (P, 'W33,P41-F,P42-F,22,7.0', 'W33,P41-F,P42-F,22,40.1')),
    case(CHAIN, 'can_pair_split', 1, ('W22', 'W23'), (P, 'W23,P12-4,P13-2,24,3.0,can_l,C2,S2', 'W23,P12-4,P13-2,24,3.0,can_l,C3,S3')),
    case(TWO_BUSES, 'can_pair_split', 1, ('W32', 'W33'), (P, 'W33,P41-F,P42-F,22,7.0,can_l,K7', 'W33,P41-F,P42-F,22,7.0,can_l,K1')),
    case(TWO_BUSES, 'can_pair_split', 1, ('W24', 'W25'), (P, 'W25,SP4,SP6,22,2.0,can_l,K3', 'W25,SP4,SP6,22,2.0,can_l,K33')),
    case(TWO_BUSES, 'can_pair_split', 1, ('W32', 'W33'), (P, 'W33,P41-F,P42-F,22,7.0,can_l,K7', 'W33,P41-F,P42-F,22,7.0,can_l,')),
    case(CHAIN, 'shield_without_drain', 1, ('S2',), (P, 'S2,P12-ring,,', 'S2,,,')),
    case(CHAIN, 'shield_without_drain', 1, ('S3',), (P, 'S3,P13-ring,,24', 'S3,P13-14,,24')),
    case(CHAIN, 'shield_without_drain', 1, ('C4',), (P, 'S4,P11-ring,,24,2.0,shield,C4,,,\n', ''), (P, 'W30,P11-11,P12-12,24,2.0,rs232_tx,C4,S4', 'W30,P11-11,P12-12,24,2.0,rs232_tx,C4,'), (P, 'W31,P11-12,P12-11,24,2.0,rs232_rx,C4,S4', 'W31,P11-12,P12-11,24,2.0,rs232_rx,C4,'), (P, 'W32,P11-13,P12-13,24,2.0,signal,C4,S4', 'W32,P11-13,P12-13,24,2.0,signal,C4,')),
    case(CHAIN, 'shield_drained_at_both_ends', 1, ('S2', 'C2'), (P, 'S2,P12-ring,,', 'S2,P12-ring,P13-ring,')),
    case(CHAIN, 'shield_drained_at_both_ends', 1, ('S2', 'C2'), (P, 'S2,P12-ring,,', 'S2,P12-ring,P13-shell,')),
    case(CHAIN, 'shield_drained_at_both_ends', 1, ('S4', 'C4'), (P, 'S4,P11-ring,,', 'S4,P11-ring,GND7,')),
    case(TWO_BUSES, 'shield_drained_at_one_end', 1, ('S1', 'K1'), (P, 'S1,P41-ring,GND1,', 'S1,P41-ring,,')),
    case(CHAIN, 'shield_drained_at_one_end', 1, ('S3', 'C3'), (H, 'name = "C3"\ndrained = "one_end"', 'name = "C3"\ndrained = "both_ends"')),
    case(CHAIN, 'shield_cut_back_too_far', 1, ('C2',), (H, 'name = "C2"\ndrained = "one_end"\nunshielded_mm = 60', 'name = "C2"\ndrained = "one_end"\nunshielded_mm = 100.5')),
    case(CHAIN, 'shield_cut_back_too_far', 1, ('C4',), (H, 'unshielded_mm = 20\n', 'unshielded_mm = 22\n')),
    case(CHAIN, 'drain_too_long', 1, ('C4',), (H, 'drain_mm = 40\n', 'drain_mm = 60\n')),
    case(TWO_BUSES, 'drain_too_long', 1, ('K1',), (H, 'drain_mm = 150\n', 'drain_mm = 200\n')),
    case(CHAIN, 'shield_unknown', 1, ('W24', 'S5'), (P, 'C3,S3,,\nW25', 'C3,S5,,\nW25')),
    case(CHAIN, 'shield_not_along_core', 1, ('W24', 'S3'), (P, 'W24,P13-3,P14-1,24,2.5,can_h,C3,S3', 'W24,P13-3,P14-1,24,2.5,can_h,C3,')),
    case(LONG_RUNS, 'protector_too_large', 1, ('CB3', 'W7'), (H, 'to = "TB1-4"\nrating_a = 5.0', 'to = "TB1-4"\nrating_a = 7.5')),
    case(LONG_RUNS, 'protector_too_large', 1, ('CB2', 'W3'), (H, 'to = "TB1-3"\nrating_a = 10.0', 'to = "TB1-3"\nrating_a = 15.0')),
    case(CHAIN, 'protector_too_large', 1, ('CB2', 'W2'), (P, 'W2,TB7-3,P12-6,22,1.5', 'W2,TB7-3,P12-6,24,1.5')),
    case(LONG_RUNS, 'protector_too_large', 1, ('CB1', 'W1'), (H, 'to = "TB1-2"\nrating_a = 40.0', 'to = "TB1-2"\nrating_a = 60.0')),
    case(LONG_RUNS, 'protector_overloaded', 1, ('CB1',), (H, 'to = "TB1-2"\nrating_a = 40.0', 'to = "TB1-2"\nrating_a = 15.0')),
    case(LONG_RUNS, 'voltage_drop', 1, ('P21-A', '28V'), (P, 'W1,TB1-2,P21-A,8', 'W1,TB1-2,P21-A,10'), (P, 'W2,P21-B,GND1,8', 'W2,P21-B,GND1,10'), (H, 'contact_sizes = { A = "8", B = "8" }', 'contact_sizes = { A = "10", B = "10" }')),
    case(LONG_RUNS, 'voltage_drop', 1, ('P21-A', '28V'), (P, 'W1,TB1-2,P21-A,8,7.62', 'W1,TB1-2,P21-A,8,20')),
    case(LONG_RUNS, 'voltage_drop', 1, ('P23-1', '115V'), (P, 'W5,P22-C,P23-1,20,40.0', 'W5,P22-C,P23-1,20,45.0'), (P, 'W6,P22-D,P23-2,20,40.0', 'W6,P22-D,P23-2,20,45.0')),
    case(STEP_UP, 'converter_input', 1, ('UPC', 'W1'), (P, 'W1,TB3-2,P31-A,18', 'W1,TB3-2,P31-A,20')),
    case(STEP_UP, 'converter_input', 1, ('UPC', 'F1'), (H, 'rating_a = 7.5', 'rating_a = 4.0')),
    case(STEP_UP, 'converter_input', 1, ('UPC', 'W2'), (P, 'W2,P31-B,GND1,18', 'W2,P31-B,GND1,20')),
    case(STEP_UP, 'converter_without_efficiency', 1, ('UPC',), ('units/upc.toml', 'efficiency = 0.9\n', '')),
    case(STEP_UP, 'wrong_feed', 1, ('P33-1', 'SON'), ('units/son.toml', 'feed_v = 28.0', 'feed_v = 14.0')),
    case(CHAIN, 'bridge_roles', 1, ('B2',), (P, 'B2,P14-9,P14-10', 'B2,P14-9,P14-8'), ('units/chainer.toml', '[[contacts]]\nconnector = "J1"\ncontact = "9"', '[[contacts]]\nconnector = "J1"\ncontact = "8"\nname = "WAKE"\nrole = "signal"\nneed = "optional"\n[[contacts]]\nconnector = "J1"\ncontact = "9"')),
    case(CHAIN, 'bridge_roles', 1, ('B1',), (P, 'B1,P11-9,P11-10', 'B1,P11-9,P11-14')),
    case(CHAIN, 'bridge_roles', 1, ('B2',), (P, 'B2,P14-9,P14-10', 'B2,P14-9,P14-3')),
    case(CHAIN, 'wire_number_twice', 1, ('W20',), (P, 'W21,P11-4', 'W20,P11-4')),
    case(CHAIN, 'wire_number_twice', 1, ('B1',), (P, 'B2,P14', 'B1,P14')),
    case(CHAIN, 'wire_number_twice', 1, ('S1',), (P, 'S2,P12-ring', 'S1,P12-ring')),
    case(TWO_BUSES, 'wire_number_twice', 1, ('W8',), (P, 'W9,SP2', 'W8,SP2')),
    case(TWO_BUSES, 'no_zone', 1, ('P190',), (H, 'ref = "P190"\nfamily = "dsub9"\ngender = "socket"\nzone = "cabin"\n', 'ref = "P190"\nfamily = "dsub9"\ngender = "socket"\n')),
    case(TWO_BUSES, 'no_zone', 1, ('GND2',), (H, 'ref = "GND2"\nfamily = "stud"\nzone = "mast"\n', 'ref = "GND2"\nfamily = "stud"\n')),
    case(TWO_BUSES, 'unused_contact', 1, ('P41-G', 'W55'), (P, 'W10,P44-2', 'W55,P41-G,P44-8,22,7.0,signal,,,,\nW10,P44-2')),
    case(LONG_RUNS, 'no_ground_return', 1, ('TB1-5',), (P, 'W12,TB1-5,GND1,6,0.5,ground,,,,\n', '')),
    case(TWO_BUSES, 'no_ground_return', 2, ('N2', 'P42-B'), (P, 'W9,SP2,GND1,20,1.0,ground,,,,\n', '')),
    case(STEP_UP, 'no_ground_return', 1, ('TB3-4',), (P, 'W7,TB3-4,GND1,16,0.4,ground,,,,\n', '')),
    case(CHAIN, 'no_ground_return', 1, ('SND', 'P12-7'), (P, 'W6,P12-7,GND7', 'W6,P12-7,TB7-7')),
    case(CHAIN, 'node_off_bus', 1, ('HUB', 'SND'), (P, 'W22,P12-3,P13-1,24,3.0,can_h,C2,S2,,\n', '')),
    case(TWO_BUSES, 'node_off_bus', 1, ('GW', 'N2'), (P, 'W24,SP3,SP5,22,2.0,can_h,K3,,,\n', '')),
    case(TWO_BUSES, 'can_node_order', 1, ('one',), (H, 'nodes = ["GW", "N2", "N3", "N4"]', 'nodes = ["N2", "GW", "N3", "N4"]')),
    case(TWO_BUSES, 'wrong_feed', 4, ('P41-A', 'GW'), (P, 'W1,TB1-2,SP1,20,0.5,power,,,,\n', '')),
    case(CHAIN, 'role_disagrees', 1, ('W1', 'P11-14'), (P, 'W1,TB7-2,P11-6', 'W1,TB7-2,P11-14')),
    case(CHAIN, 'role_disagrees', 1, ('W6', 'P12-14'), (P, 'W6,P12-7,GND7', 'W6,P12-14,GND7')),
    case(STEP_UP, 'contact_used_twice', 1, ('P33-1', 'W8'), (P, 'W8,P33-5,P34-5', 'W8,P33-1,P34-5')),
    case(CHAIN, 'contact_used_twice', 1, ('TB7-2', 'W32'), (P, 'W32,P11-13,P12-13', 'W32,P11-14,TB7-2')),
    case(STEP_UP, 'mixed_net', 2, ('P32-1', 'P33-5'), (P, 'W3,P32-1,P33-1', 'W3,P32-1,P33-5'), (P, 'W8,P33-5,', 'W8,P33-1,')),
    case(LONG_RUNS, 'contact_used_twice', 1, ('TB1-2', 'W12'), (P, 'W12,TB1-5,GND1', 'W12,TB1-5,TB1-2')),
    case(LONG_RUNS, 'mixed_net', 1, ('P21-B', 'TB1-1'), (P, 'W2,P21-B,GND1', 'W2,P21-B,TB1-1')),
    case(TWO_BUSES, 'buses_joined', 1, ('one', 'two', 'P42-E'), (P, 'W32,P41-E,P42-E', 'W32,SP3,P42-E'), (P, 'W33,P41-F,P42-F', 'W33,SP4,P42-F')),
    case(REDUNDANT, 'contact_used_twice', 1, ('P1-1', 'W12'), (P, 'W12,P1-2,P2-2,24,5.0,can_h,CB', 'W12,P1-1,P2-2,24,5.0,can_h,CB')),
    case(REDUNDANT, 'can_terminators', 2, ('a',), (P, 'W12,P1-2,P2-2', 'W12,P1-2,P2-1'), (P, 'W10,P1-1,P2-1', 'W10,P1-1,P2-2')),
    case(REDUNDANT, 'can_terminators', 1, ('b',), (H, '[[parts]]\nref = "RT3"\nkind = "terminator"\nfrom = "P2-2"\nto = "P2-3"\nohm = 120.0\n', '')),
    case(REDUNDANT, 'can_too_long', 1, ('a',), (P, 'W10,P1-1,P2-1,24,5.0', 'W10,P1-1,P2-1,24,45'), (P, 'W11,P1-4,P2-4,24,5.0', 'W11,P1-4,P2-4,24,45')),
    case(REDUNDANT, 'can_pair_split', 1, ('W10', 'W11'), (P, 'can_l,CA', 'can_l,CB')),
    case(REDUNDANT, 'forgotten_run', 2, ('P1-2',), (P, 'W12,P1-2,P2-2,24,5.0,can_h,CB,,,\n', '')),
    case(TWO_BUSES, 'can_branch_too_long', 1, ('one', 'SP3', 'P42-C'), (P, 'W24,SP3,SP5,22,2.0', 'W24,SP3,SP5,22,0.1'), (P, 'W25,SP4,SP6,22,2.0', 'W25,SP4,SP6,22,0.1'), (P, 'W22,SP3,P42-C,22,0.3', 'W22,SP3,P42-C,22,3'), (P, 'W23,SP4,P42-D,22,0.3', 'W23,SP4,P42-D,22,3')),
    case(TWO_BUSES, 'can_branch_too_long', 1, ('one', 'SP5', 'P43-6'), (P, 'W26,SP5,P43-6,22,0.4', 'W26,SP5,P43-6,22,0.9'), (P, 'W27,SP6,P43-7,22,0.4', 'W27,SP6,P43-7,22,0.9'), (H, 'bitrate = 250000', 'bitrate = 500000')),
    case(TWO_BUSES, 'can_terminators', 1, ('one',), (H, '[[buses]]\nname = "one"', '[[parts]]\nref = "RT9"\nkind = "terminator"\nfrom = "P43-7"\nto = "P43-6"\nohm = 120.0\n[[buses]]\nname = "one"')),
    case(TWO_BUSES, 'can_terminators_not_at_ends', 1, ('one', 'P44-6'), (H, 'from = "P44-6"\nto = "P44-7"', 'from = "P43-6"\nto = "P43-7"')),
    case(TWO_BUSES, 'can_terminators', 1, ('one',), (H, 'from = "P44-6"\nto = "P44-7"', 'from = "P44-6"\nto = "P44-2"')),
    case(LISTENERS, 'link_not_joined', 1, ('P12-11', 'P11-12'), (P, 'W36,SP7,P12-11,24,0.1,rs232_rx,,,,\n', '')),
    case(LISTENERS, 'link_not_joined', 1, ('P12-11', 'P11-12'), (P, 'W31,P11-12,SP7,24,1.9,rs232_rx,C4,S4,,\n', '')),
    case(LISTENERS, 'forgotten_run', 1, ('P51-2',), (P, 'W37,P51-2,SP7,24,1.0,rs232_rx,,,,\n', '')),
    case(LISTENERS, 'forgotten_run', 1, ('P51-5',), (P, 'W39,P51-5,SP8,24,1.0,signal,,,,\n', '')),
    case(BULKHEAD, 'link_not_joined', 1, ('P11-11', 'P12-12'), (P, 'W33,P50-2,P12-12,24,1.0,rs232_tx,C5,,,\n', '')),
    case(BULKHEAD, 'link_without_return', 1, ('depth', 'P12-13'), (P, 'W35,P50-5,P12-13,24,1.0,signal,C5,,,\n', '')),
    case(BULKHEAD, 'link_crossed_twice', 1, ('P11-11', 'P12-11', 'P11-12', 'P12-12'), (P, 'W33,P50-2,P12-12', 'W33,P50-2,P12-11'), (P, 'W34,P50-3,P12-11', 'W34,P50-3,P12-12')),
    case(BULKHEAD, 'link_crossed_twice', 1, ('P11-11', 'P12-11', 'P11-12', 'P12-12'), (P, 'W33,P50-2,', 'W33,P50-3,'), (P, 'W34,P50-3,', 'W34,P50-2,')),
    case(BULKHEAD, 'mixed_net', 2, ('P11-12', 'P12-13'), (P, 'W35,P50-5,P12-13', 'W35,P50-3,P12-13'), (P, 'W34,P50-3,P12-11', 'W34,P50-5,P12-11')),
    case(PASSED_ON, 'wire_overloaded', 4, ('W1',), ('units/end.toml', 'load_a = 0.5', 'load_a = 3.1')),
    case(PASSED_ON, 'forgotten_run', 2, ('P2-2',), (P, 'W4,P2-2,P3-2,22,1.0,ground,,,,\n', '')),
    case(PASSED_ON, 'forgotten_run', 2, ('P2-1',), (P, 'W3,P2-1,P3-1,22,1.0,power,,,,\n', '')),
    case(PASSED_ON, 'forgotten_run', 1, ('P1-1',), (P, 'W1,TB1-2,P1-1,22,1.0,power,,,,\n', '')),
    case(PASSED_ON, 'contact_used_twice', 1, ('TB1-2', 'W4'), (P, 'W4,P2-2,P3-2', 'W4,P2-2,TB1-2')),
    case(CHAIN, 'mixed_net', 2, ('GND7', 'P12-1'), (P, 'W20,P11-3,P12-1', 'W20,P11-3,P12-7'), (P, 'W6,P12-7,', 'W6,P12-1,')),
    case(CHAIN, 'can_pair_crossed', 2, ('P12-1', 'P11-4'), (P, 'W20,P11-3,', 'W20,P11-4,'), (P, 'W21,P11-4,', 'W21,P11-3,')),
    case(TWO_BUSES, 'mixed_net', 2, ('P41-B', 'P42-A'), (P, 'W2,SP1,P41-A', 'W2,SP1,P41-B'), (P, 'W6,P41-B,', 'W6,P41-A,')),
    case(TWO_BUSES, 'role_disagrees', 1, ('W4', 'P43-1'), (P, 'W4,SP1,P43-1,22,1.0,power', 'W4,SP1,P43-1,22,1.0,signal')),
    case(TWO_BUSES, 'forgotten_run', 1, ('P45-centre',), (P, 'X1,P45-centre,P46-centre', 'X1,P45-shell,P46-centre')),
    case(TWO_BUSES, 'shield_without_drain', 1, ('S8',), (P, 'S8,P45-shell,P46-shell', 'S8,,')),
    case(TWO_BUSES, 'run_with_one_end', 1, ('S1',), (P, 'S1,P41-ring,GND1', 'S1,,P41-ring')),
    case(CHAIN, 'contact_used_twice', 1, ('TB7-3', 'W99'), (P, 'W9,TB7-8', 'W99,TB7-3,P12-6,22,1.5,power,,,,\nW9,TB7-8'), (H, 'ref = "P12"\nfamily = "dsub15"\n', 'ref = "P12"\nfamily = "dsub15"\ndoubles = ["6"]\n')),
    case(CHAIN, 'no_zone', 1, ('GND7',), (H, '[[connectors]]\nref = "GND7"\nfamily = "stud"\nzone = "fore"\n', '[[connectors]]\nref = "GND7"\nfamily = "stud"\n')),
    case(TWO_BUSES, '', 0, (), (P, 'W26,SP5,P43-6,22,0.4', 'W26,SP5,P43-6,22,1.2'), (P, 'W27,SP6,P43-7,22,0.4', 'W27,SP6,P43-7,22,1.2')),
    case(TWO_BUSES, '', 0, (), (P, 'W32,P41-E,P42-E,22,7.0', 'W32,P41-E,P42-E,22,40'), (P, 'W33,P41-F,P42-F,22,7.0', 'W33,P41-F,P42-F,22,40')),
    case(CHAIN, '', 0, (), (P, 'W21,P11-4,P12-2,24,2.0', 'W21,P11-4,P12-2,24,2.1')),
    case(CHAIN, '', 0, (), (P, 'W1,TB7-2,P11-6,22,1.0,power,,,red,', 'W1,TB7-2,P11-6,22,1.0,power,,,red,\nX9,P14-8,P14-5,22,0.1,bridge,,,,'), ('units/chainer.toml', '[[contacts]]\nconnector = "J1"\ncontact = "9"', '[[contacts]]\nconnector = "J1"\ncontact = "8"\nname = "ID"\nrole = "signal"\nneed = "optional"\n[[contacts]]\nconnector = "J1"\ncontact = "5"\nname = "ID RTN"\nrole = "signal"\nneed = "optional"\n[[contacts]]\nconnector = "J1"\ncontact = "9"')),
    case(CHAIN, 'no_gauge', 1, ('W7',), (P, 'W7,P13-7,GND7,22,3.0', 'W7,P13-7,GND7,22,')),
    case(CHAIN, 'no_gauge', 1, ('W22',), (P, 'W22,P12-3,P13-1,24,3.0', 'W22,P12-3,P13-1,24,')),

]  # fmt: skip


@pytest.mark.parametrize(
    "files",
    [BULKHEAD, CHAIN, LISTENERS, LONG_RUNS, PASSED_ON, REDUNDANT, STEP_UP, TWO_BUSES],
    ids=lambda f: f[H].splitlines()[1],
)
def test_sound_harnesses_are_clean(files: Files) -> None:
    assert reviewed(files) == ()


@pytest.mark.parametrize("tried", CASES, ids=lambda c: f"{c.rule or 'sound'}:{c.changes[0][1][:20].strip()}")
def test_one_mistake_is_told_once(tried: Case) -> None:
    found = reviewed(changed(tried.files, *tried.changes))
    assert {finding.code for finding in found} == ({tried.rule} if tried.rule else set())
    assert len(found) == tried.count
    assert tried.where == (found[0].where if found else ())


def test_a_unit_whose_case_is_its_ground_needs_no_return() -> None:
    chainer = "units/chainer.toml"
    assert (
        reviewed(
            changed(
                CHAIN,
                (P, "W8,P14-7,GND7,22,4.0,ground,,,black,\n", ""),
                (
                    chainer,
                    'name = "SUPPLY RTN"\nrole = "ground"\nneed = "needed"',
                    'name = "CASE"\nrole = "ground"\nneed = "optional"',
                ),
                (
                    chainer,
                    '[[paths]]\nkind = "terminator"',
                    '[[paths]]\nkind = "case_ground"\na = "J1-7"\n[[paths]]\nkind = "terminator"',
                ),
            )
        )
        == ()
    )


def test_what_a_unit_passes_on_flows_through_it() -> None:
    """Kirchhoff: the wires to the first unit carry what both draw, there and back."""
    currents = FeedCurrents(read_harness("bay", dict(PASSED_ON)))
    amps = {conductor.name: abs(conductor.amps) for conductor in currents.conductors}
    assert amps == pytest.approx({"W1": 0.6, "W2": 0.6, "W3": 0.5, "W4": 0.5, "W5": 0.6, "CB1": 0.6})


def test_a_drop_that_rounds_to_its_limit_is_said_with_more_digits() -> None:
    found = reviewed(changed(LONG_RUNS, (P, "W1,TB1-2,P21-A,8,7.62", "W1,TB1-2,P21-A,8,13.75")))
    assert [finding.code for finding in found] == ["voltage_drop"]
    assert "loses 1.002 V of 28 V, more than 1 V" in found[0].text


def test_conductors_that_changed_places_are_named_together() -> None:
    found = reviewed(changed(STEP_UP, (P, "W5,TB3-3,P34-1", "W5,TB3-3,P34-5"), (P, "W8,P33-5,P34-5", "W8,P33-5,P34-1")))
    assert [(finding.code, finding.where) for finding in found] == [("mixed_net", ("P33-5", "P34-1", "P34-5"))]
    assert "changed places with W5 at P34-5" in found[0].text


ALL = {"bulkhead": BULKHEAD, "chain": CHAIN, "listeners": LISTENERS, "long": LONG_RUNS, "passed on": PASSED_ON,
       "redundant": REDUNDANT, "step up": STEP_UP, "two buses": TWO_BUSES}  # fmt: skip


@pytest.mark.parametrize("name", ALL)
def test_a_run_left_out_is_told_by_one_rule(name: str) -> None:
    head, *rows = ALL[name][P].splitlines()
    told = 0
    for row in rows:
        left = "\n".join((head, *(other for other in rows if other is not row)))
        codes = {finding.code for finding in reviewed({**ALL[name], P: f"{left}\n"})}
        assert len(codes) <= 1, row
        told += bool(codes)
    assert told >= len(rows) - 1  # the bond between two studs is nothing that anything else needs


@pytest.mark.parametrize("name", ALL)
def test_a_run_one_contact_off_is_told_by_one_rule_that_names_it(name: str) -> None:
    head, *rows = (row.split(",") for row in ALL[name][P].splitlines())
    told = read_partly("bay", dict(ALL[name]), databases=more_bays.databases(ALL[name]))
    assert told.harness is not None
    used = {row[end] for row in rows for end in (1, 2)}
    for row in rows:
        for end in (1, 2):
            connector = told.harness.connectors[row[end].partition("-")[0]] if "-" in row[end] else None
            free = [f"{connector.ref}-{pin}" for pin in connector.contacts] if connector and connector.unit else []
            other = next((contact for contact in reversed(free) if contact not in used), None)
            if other is None:
                continue
            moved = [[*row[:end], other, *row[end + 1 :]] if each is row else each for each in rows]
            text = "\n".join(",".join(each) for each in (head, *moved)) + "\n"
            found = reviewed({**ALL[name], P: text})
            assert len({finding.code for finding in found}) == 1, (row[0], other, found)
            named = {each for finding in found for each in finding.where}
            assert named & {row[0], row[end], other}, (row[0], other, found)
