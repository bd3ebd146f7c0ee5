#!/usr/bin/env perl
# Rill-1: the least that can be mounted. One lag: engine speed follows the throttle; manifold pressure follows from
# throttle, speed and the air outside. Invented for the demonstration; it shows the protocol, not an engine.
# usage: perl engine.pl [--defect manifold-ignores-height]
use strict;
use warnings;
use B;
use JSON::PP;

my ($LANES, $STEP_DIVIDES) = (64, 18000);
my ($IDLE, $RATED, $LAG) = (700.0, 2400.0, 1.5);    # rpm, rpm, s
my $json = JSON::PP->new->utf8->canonical;
my %INPUTS = (throttle => [-0.01, 1.01, '1'], pressure_altitude => [-2000, 36000, 'ft'],
    temperature_offset => [-80, 80, 'K'], true_airspeed => [0, 300, 'kt']);
my %OUTPUTS = (manifold_pressure => 'inHg', engine_speed => 'rpm', throttle_position => '1',
    ambient_pressure => 'inHg', ambient_temperature => 'degC');
my ($defect, $ticks, @inputs, @outputs, @lanes) = ('');

# The prototype makes both arguments scalars: a match that fails is otherwise an empty list, and vanishes.
sub must($$) { my ($holds, $words) = @_; die {code => 'bad_request', message => $words} unless $holds }

# Whether the JSON had a number there: Perl itself would take "0.5" in quotes, and true, for one. Ask before the value is
# used as text, which leaves its mark on it.
sub number {
    my $flags = ref $_[0] ? 0 : B::svref_2object(\$_[0])->FLAGS;
    return ($flags & (B::SVp_IOK | B::SVp_NOK)) && !($flags & B::SVp_POK);
}

# Standard atmosphere below 36,089 ft (SFTE Reference Handbook 2013, ch. 3): inHg and degrees Celsius.
sub air {
    my ($in) = @_;
    my $theta = 1.0 - 6.8755856e-6 * $in->{pressure_altitude};
    return (29.92126 * $theta**5.255876, 288.15 * $theta + $in->{temperature_offset} - 273.15);
}

# What the intake recovers of the stagnation rise: 0.7 of it (same handbook, sec. 10.3).
sub ram {
    my ($in, $temperature) = @_;
    my $mach_squared = ($in->{true_airspeed} * 0.514444)**2 / (1.4 * 287.053 * ($temperature + 273.15));
    return 1.0 + 0.7 * ((1.0 + 0.2 * $mach_squared)**3.5 - 1.0);
}

sub speed_aimed_at { my ($in) = @_; return $IDLE + ($RATED - $IDLE) * $in->{throttle} }

# The exact solution of the lag for inputs held over the step, so the grid step makes no difference to it.
sub step {
    my ($lane, $in) = @_;
    $lane->{in} = $in;
    return if $lane->{still};
    my $aim = speed_aimed_at($in);
    $lane->{speed} = $aim + ($lane->{speed} - $aim) * exp(-$ticks / 36000.0 / $LAG);
}

# Suction past the throttle plate and the intake grows with the square of the flow (common form, invented coefficients).
sub readings {
    my ($lane) = @_;
    my $in = $lane->{in};
    my ($outside, $temperature) = air($in);
    my $share = $lane->{speed} / speed_aimed_at($in);
    my $drop = (0.06 + 0.6 * (1.0 - $in->{throttle})**2) * ($share > 1.1 ? 1.1 : $share)**2;
    my %values = (engine_speed => $lane->{speed}, throttle_position => $in->{throttle},
        ambient_pressure => $outside, ambient_temperature => $temperature);
    $values{manifold_pressure} = ($defect ? 29.92126 : $outside) * ram($in, $temperature) * (1.0 - $drop);
    return [map { 0 + $values{$_} } @outputs];    # written with 15 digits
}

sub row {
    my ($row) = @_;
    must(ref $row eq 'ARRAY' && @$row == @inputs, 'a row must hold one number for each input');
    my %in = (throttle => 0.0, pressure_altitude => 0.0, temperature_offset => 0.0, true_airspeed => 0.0);
    for my $i (0 .. $#inputs) {
        my ($least, $most) = @{$INPUTS{$inputs[$i]}};
        must(number($row->[$i]), "$inputs[$i] is not a finite number");
        must($row->[$i] >= $least && $row->[$i] <= $most, "$inputs[$i] is out of range");
        $in{$inputs[$i]} = $row->[$i];
    }
    return \%in;
}

sub names {
    my ($names, $known) = @_;
    must(ref $names eq 'ARRAY' && @$names > 0, 'inputs and outputs must be lists of names');
    my %seen;
    for (@$names) { must(defined $_ && !ref $_ && exists $known->{$_} && !$seen{$_}++, "unknown or repeated name $_") }
    return @$names;
}

sub hello {
    my ($asked) = @_;
    die {code => 'version', message => 'protocols must be a list that holds 1'}
        unless ref $asked->{protocols} eq 'ARRAY' && grep { number($_) && $_ == 1 } @{$asked->{protocols}};
    return {protocol => 1, model => {name => 'Rill-1', version => '1'},
        derived_from => 'one lag, invented coefficients',
        inputs => [map { {name => $_, unit => $INPUTS{$_}[2]} } sort keys %INPUTS],
        outputs => [map { {name => $_, unit => $OUTPUTS{$_}} } sort keys %OUTPUTS],
        capabilities => {lanes => $LANES, max_values => 20000}};
}

sub initialise {
    my ($asked) = @_;
    my ($n, $starts) = @$asked{qw(step_ticks starts)};
    must(number($n) && $n =~ /^[1-9]\d*$/ && $STEP_DIVIDES % $n == 0, 'step_ticks must divide 18000');
    must(ref $starts eq 'ARRAY' && @$starts > 0 && @$starts <= $LANES, "starts must hold 1 to $LANES lanes");
    my @kept = ([@inputs], [@outputs]);
    my @begun = eval {
        @inputs = names($asked->{inputs}, \%INPUTS);
        @outputs = names($asked->{outputs}, \%OUTPUTS);
        map {
            must(ref $_ eq 'HASH' && ($_->{engine} // '') =~ /^(?:running|stopped)$/,
                'a start needs engine = running or stopped');
            my ($in, $still) = (row($_->{row}), $_->{engine} eq 'stopped');
            {in => $in, still => $still, speed => $still ? 0.0 : speed_aimed_at($in)};
        } @$starts;
    };
    if ($@) { @inputs = @{$kept[0]}; @outputs = @{$kept[1]}; die $@ }    # a refused request changes nothing
    ($ticks, @lanes) = ($n, @begun);
    return {rows => [map { readings($_) } @lanes]};
}

sub advance {
    my ($asked) = @_;
    my ($named, $rows) = @$asked{qw(lanes rows)};
    must(@lanes > 0, 'initialise comes before advance');
    must(ref $named eq 'ARRAY' && @$named > 0, 'lanes must be a list of lane numbers');
    my %seen;
    for (@$named) { must(number($_) && /^\d+$/ && $_ < @lanes && !$seen{$_}++, 'no such lane, or named twice') }
    must(ref $rows eq 'ARRAY' && @$rows > 0, 'rows must be a list of at least one row');
    my @checked = map {
        must(ref $_ eq 'ARRAY' && @$_ == @$named, 'a row must hold one list for each lane named');
        [map { row($_) } @$_];
    } @$rows;
    return {rows => [map {
        my $row = $_;
        [map { step($lanes[$named->[$_]], $row->[$_]); readings($lanes[$named->[$_]]) } 0 .. $#$named];
    } @checked]};
}

my %METHODS = (hello => \&hello, initialise => \&initialise, advance => \&advance,
    reset => sub { @lanes = (); return {} }, close => sub { return {} });

sub answer {
    my ($line) = @_;
    my ($id, $name) = (undef, '');
    my $result = eval {
        my $request = eval { $json->decode($line) };
        must(ref $request eq 'HASH', 'a request is one JSON object');
        $id = $request->{id} if defined $request->{id} && !ref $request->{id};
        $name = $request->{method} // '';
        my ($method, $asked) = ($METHODS{$name}, $request->{params} // {});
        die {code => 'unknown_method', message => 'known: ' . join(', ', sort keys %METHODS)} unless $method;
        must(ref $asked eq 'HASH', 'params must be an object');
        $method->($asked);
    };
    my $error = $@;
    die $error if $error && ref $error ne 'HASH';
    print $json->encode($error ? {id => $id, error => $error} : {id => $id, result => $result}), "\n";
    return $name eq 'close' && !$error;
}

if (@ARGV && !(@ARGV == 2 && $ARGV[0] eq '--defect' && $ARGV[1] eq 'manifold-ignores-height')) {
    print STDERR "usage: perl engine.pl [--defect NAME], with NAME one of: manifold-ignores-height\n";
    exit 2;
}
$defect = $ARGV[1] // '';
$| = 1;
while (defined(my $line = <STDIN>)) {
    next if $line =~ /^\s*$/;
    last if answer($line);
}
